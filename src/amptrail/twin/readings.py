"""Instruments at a settled moment: connect, settle again with time stopped, look."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.circuit.model import Term
from amptrail.twin.dense import solve
from amptrail.twin.elements import Element, Law
from amptrail.twin.settle import Machine, Moment, Settled
from amptrail.twin.state import Clock, State, frozen

# instrument -> law and numbers (the format's own text): meter 10 Mohm, lamp 12 V 5 W, loaded probe 3 ohm
BURDENS: dict[str, tuple[Law, tuple[float, ...]]] = {
    "meter": ("res", (10e6, 0.0)),
    "testlamp": ("lamp", (12.0, 5.0)),
    "probe": ("res", (3.0, 0.0)),
}
OHMMETER_V, OHMMETER_OHM, OVER_RANGE_OHM = 0.4, 1000.0, 20e6


@dataclass(frozen=True)
class Got:
    """What the instrument shows: `value`, or None and [low, high] when it never comes to rest."""

    value: float | None
    low: float
    high: float
    disturbs: tuple[str, ...]


def _node(m: Machine, t: Term | None) -> int:
    if t is None:
        return m.reference
    b = m.f.bench
    n = b.wiring.node(t)
    return n if n is not None else b.node(t.part, t.name)


def changed(before: State, after: State) -> tuple[str, ...]:
    """The states an instrument changed, in the words of the oracle's truth files, sorted."""
    names: set[str] = set()
    for word, a, b in (
        ("relay", before.energised, after.energised),
        ("fuse", before.fuses_open, after.fuses_open),
        ("alt", before.excited, after.excited),
        ("alive", before.alive, after.alive),
    ):
        names |= {f"{word}.{n}" for n in a ^ b}
    for word, c, d in (
        ("in", before.inputs, after.inputs),
        ("sig", before.signals, after.signals),
        ("drv", before.on, after.on),
        ("trip", before.tripped, after.tripped),
    ):
        names |= {f"{word}.{x}.{y}" for x, y in c ^ d}
    return tuple(sorted(names))


def read(moment: Moment, a: Term, b: Term | None = None, instrument: str = "meter") -> Got:
    """Volts from a to b (None: the battery's minus post) with the instrument's own load fitted."""
    m = moment.machine
    law, p = BURDENS[instrument]
    ends = _node(m, a), _node(m, b)
    m.f.bench.out.append(Element(Term("", "instrument"), law, *ends, p))
    try:
        clock = Clock(moment.clock.now, moment.phase, dict(moment.clock.timers))
        got, _ = m.settle(moment.state, clock)
    finally:
        m.f.bench.out.pop()
    return _shown(got, ends, changed(moment.state, got.state))


def _shown(got: Settled, ends: tuple[int, int], disturbs: tuple[str, ...]) -> Got:
    tour = got.tour or [got.solution]
    values = [t.volts[ends[0]] - t.volts[ends[1]] for t in tour]
    low, high = min(values), max(values)
    steady = got.status != "chatter" or high - low <= max(1e-3, 1e-3 * abs(high))
    return Got(
        got.solution.volts[ends[0]] - got.solution.volts[ends[1]] if steady else None, low, high, disturbs
    )


def read_ohms(moment: Moment, a: Term, b: Term | None = None) -> float | None:
    """Ohms from a to b: battery and charger off, modules unpowered, fuses as they are. None: over range."""
    m = moment.machine
    state = State(fuses_open=moment.state.fuses_open)
    here = [e for e in frozen(m.f, state, None) if e.law not in ("cell", "oneway")]
    ends = _node(m, a), _node(m, b)
    source = Element(Term("", "ohmmeter"), "res", *ends, (OHMMETER_OHM, OHMMETER_V))
    bench = m.f.bench
    got = solve([*here, source], len(bench.names), bench.hubs, m.reference)
    volts = got.volts[ends[0]] - got.volts[ends[1]]
    amps = (OHMMETER_V - volts) / OHMMETER_OHM
    if amps <= 0 or volts / amps > OVER_RANGE_OHM:
        return None
    return volts / amps
