"""What is lived through, as legs: so long in this phase, before or after the change was made.

The starts of DESIGN §9 are nothing but lists of legs over the phases the sheet has.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import drive_cycle, seconds, sleeping
from amptrail.errors import ModelError, Problem, nearest
from amptrail.solve import Change, Kind, Network
from amptrail.solve.runs import FIRST_SLEEP_S, FITTED_S, phase_number

CRANK_ABORTED_S = 0.3  # the key is let go before the engine fires (common practice)
KEY_LEFT_ON_S = 5.0  # after a stall or an aborted crank (common practice)
RESTART_AFTER_S = 5.0  # the key is off this long, or half the after-run when that is shorter
BATTERY_OFF_S = 60.0  # a clamp off and on again (common practice)
RUN_DOWN_S = 2.0  # an engine turns this long after the key is off (common practice)
NAMED = (
    "restart-in-after-run", "aborted-crank", "stall", "key-off-turning", "battery-reconnected",
    "unlock-without-start",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Leg:
    """`seconds` in a phase (index into network.phases). `pass_no` 0: before the first full drive cycle.
    `before`: lived by the vehicle as it was before the changes. `extra`: changes of this leg alone, less than
    what is changed throughout. `asked`: the phase whose functions must hold, where that is another."""

    phase: int
    seconds: float
    pass_no: int = 0
    before: bool = False
    extra: tuple[Change, ...] = ()
    asked: int | None = None


@dataclass(frozen=True, slots=True)
class _Cycle:
    """The drive cycle by the bases of its phases."""

    bases: tuple[str, ...]
    durations: tuple[float, ...]
    bed: int

    def first(self, base: str) -> int | None:
        return self.bases.index(base) if base in self.bases else None

    @property
    def key_off(self) -> int:
        """The first phase after the engine has run (or cranked, or the key was on) for the last time."""
        on = [i for i, b in enumerate(self.bases) if b in ("ignition-on", "cranking", "running")]
        return max(on, default=-1) + 1

    def legs(self, which: Sequence[int], pass_no: int = 0) -> list[Leg]:
        return [Leg(i, self.durations[i], pass_no) for i in which]

    def short(self, phase: int, most_s: float) -> Leg:
        return Leg(phase, min(most_s, self.durations[phase] / 2))


def _of(circuit: Circuit) -> _Cycle:
    phases = drive_cycle(circuit)
    return _Cycle(
        tuple(p.base for p in phases),
        tuple(seconds(p) for p in phases),
        phases.index(sleeping(circuit)),
    )


def _restart(c: _Cycle, circuit: Circuit) -> list[Leg] | None:
    on = c.first("ignition-on")
    if on is None or c.first("running") is None or c.key_off >= len(c.bases):
        return None
    return [
        *c.legs(range(c.key_off)),
        c.short(c.key_off, RESTART_AFTER_S),
        *c.legs(range(on, len(c.bases))),
    ]


def _aborted(c: _Cycle, circuit: Circuit) -> list[Leg] | None:
    crank = c.first("cranking")
    if crank is None:
        return None
    back = [c.short(crank - 1, KEY_LEFT_ON_S)] if crank and c.bases[crank - 1] == "ignition-on" else []
    return [
        *c.legs(range(crank)),
        c.short(crank, CRANK_ABORTED_S),
        *back,
        *c.legs(range(c.key_off, len(c.bases))),
    ]


def _stall(c: _Cycle, circuit: Circuit) -> list[Leg] | None:
    run, on = c.first("running"), c.first("ignition-on")
    if run is None or on is None:
        return None
    return [*c.legs(range(run + 1)), c.short(on, KEY_LEFT_ON_S), *c.legs(range(c.key_off, len(c.bases)))]


def _turning(c: _Cycle, circuit: Circuit) -> list[Leg] | None:
    """The key is off and the engine turns on for a moment: an alternator that feeds the ignition through its
    warning lead keeps it alive, and the engine with it."""
    run = max((i for i, b in enumerate(c.bases[: c.key_off]) if b == "running"), default=None)
    if run is None or c.key_off >= len(c.bases) or not any(p.kind == "alternator" for p in circuit.parts):
        return None
    off = drive_cycle(circuit)[c.key_off].name
    switches = tuple(Change(Kind.SWITCH_HELD, p.name, off) for p in circuit.parts if p.kind == "switch")
    whole = c.durations[c.key_off]
    moment = min(RUN_DOWN_S, whole / 2)
    return [
        *c.legs(range(c.key_off)),
        Leg(run, moment, extra=switches, asked=c.key_off),
        Leg(c.key_off, whole - moment),
        *c.legs(range(c.key_off + 1, len(c.bases))),
    ]


def _battery(c: _Cycle, circuit: Circuit) -> list[Leg] | None:
    off = tuple(
        Change(Kind.SWITCH_HELD, f"{p.name}:connected", "open") for p in circuit.parts if p.kind == "battery"
    )
    return [
        *c.legs(range(len(c.bases))),
        Leg(c.bed, BATTERY_OFF_S, extra=off),
        Leg(c.bed, FIRST_SLEEP_S),
    ]


def _unlock(c: _Cycle, circuit: Circuit) -> list[Leg] | None:
    up = [i for i, b in enumerate(c.bases) if b == "awake"]
    on = c.first("ignition-on")
    if not up and on is None:
        return None
    return [*c.legs(up or [on or 0]), *c.legs(range(c.key_off, len(c.bases)))]


_MAKE: dict[str, Callable[[_Cycle, Circuit], list[Leg] | None]] = {
    "restart-in-after-run": _restart, "aborted-crank": _aborted, "stall": _stall,
    "key-off-turning": _turning, "battery-reconnected": _battery, "unlock-without-start": _unlock,
}  # fmt: skip


def named_starts(circuit: Circuit) -> tuple[str, ...]:
    """The named starts this sheet's phases allow."""
    c = _of(circuit)
    return tuple(n for n in NAMED if _MAKE[n](c, circuit) is not None)


def starts(circuit: Circuit) -> tuple[str, ...]:
    """Every start there is: asleep, awake in each phase that is not sleep, and the named ones."""
    waking = tuple(f"awake:{p.name}" for p in drive_cycle(circuit) if p.base != "asleep")
    return ("asleep", *waking, *named_starts(circuit))


def _bad(circuit: Circuit, start: str) -> ModelError:
    known = starts(circuit)
    word = key(start).replace("_", "-")
    text = f"no start is called {start!r}"
    if word in NAMED:
        text = f"the phases of this sheet do not allow the start {word}"
    remedy = "Name one of these starts, or add the phases it needs."
    return ModelError(
        (Problem("bad-start", text, expected=known, nearest=nearest(start, known), remedy=remedy),)
    )


def story(
    network: Network, start: str = "asleep", cycles: int = 1, rest_s: float = FIRST_SLEEP_S
) -> tuple[Leg, ...]:
    """The legs of a start and `cycles` full drive cycles. Everything begins off, `rest_s` s asleep.

    "awake:PHASE": an unchanged vehicle is brought to the end of PHASE; the changes happen; 1 s more of it,
    the rest of the cycle, then the drive cycles. Raises ModelError for a start the phases do not allow.
    """
    circuit = network.circuit
    c = _of(circuit)
    every = range(len(c.bases))
    passes = [leg for n in range(1, max(cycles, 0) + 1) for leg in c.legs(every, n)]
    if c.bed != len(c.bases) - 1:  # the sheet's cycle ends elsewhere: what stays awake shows only asleep
        passes.append(Leg(c.bed, c.durations[c.bed]))
    rest = Leg(c.bed, rest_s)
    if key(start) == "asleep":
        return (rest, *passes)
    if key(start).startswith("awake:"):
        at = phase_number(network, start.split(":", 1)[1])
        before = (
            Leg(rest.phase, rest.seconds, 0, True),
            *(Leg(i, c.durations[i], 0, True) for i in range(at + 1)),
        )
        return (*before, Leg(at, FITTED_S), *c.legs(range(at + 1, len(c.bases))), *passes)
    make = _MAKE.get(key(start).replace("_", "-"))
    legs = make(c, circuit) if make else None
    if legs is None:
        raise _bad(circuit, start)
    return (rest, *legs, *passes)
