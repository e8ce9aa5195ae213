"""What a module's lines are taken to be where the sheet says nothing, and which of these nobody confirmed.

All by common practice: a few milliamperes awake, about one asleep; alive above 6 V; an output of 0.1 ohm.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import BusPin, Circuit, Driver, Input, Lives, Supply, key

AWAKE_OHM, ASLEEP_OHM = 1e3, 1e4
ALIVE_V = 6.0
PULL_OHM = 10_000.0
ON_OHM, LEAK_OHM = 0.1, 1e6
BUS_OHM, BUS_V = 30_000.0, 2.5


def supply_ohms(s: Supply) -> tuple[float, float]:
    """Ohms of a supply pin to the module's ground, awake and asleep."""
    awake = s.awake_ohm if s.awake_ohm is not None else AWAKE_OHM
    return awake, s.asleep_ohm if s.asleep_ohm is not None else ASLEEP_OHM


def unconfirmed(circuit: Circuit, module: str) -> tuple[str, ...]:
    """Figures of a module that nobody stated, as `PIN figure`, in the order of its lines."""
    return tuple(_unsaid(circuit, module))


def _unsaid(circuit: Circuit, module: str) -> Iterator[str]:
    lines = [x for x in circuit.modules if key(x.module) == key(module)]
    if lines and not any(isinstance(x, Lives) for x in lines):
        yield "lives_above_v"
    for x in lines:
        match x:
            case Supply():
                figures: tuple[tuple[str, object], ...] = (
                    ("awake_ohm", x.awake_ohm), ("asleep_ohm", x.asleep_ohm),
                )  # fmt: skip
            case Input() if x.pull is not None:
                figures = (("pull_ohm", x.ohm),)
            case Driver():
                figures = (("on_ohm", x.on_ohm), ("leak_ohm", x.leak_ohm))
            case BusPin():
                figures = (("ohm", x.ohm), ("volts", x.volts))
            case _:
                continue
        yield from (f"{x.pin} {name}" for name, value in figures if value is None)
