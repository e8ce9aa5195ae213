"""Starts of a story, as phases to live through: asleep, awake in a phase, and the ways people drive off.

The same starts as those of the drive cycle (design/0003), worked out again from the phases of the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.circuit.model import Circuit, Phase, Term, key
from amptrail.circuit.phases import drive_cycle, seconds, sleeping
from amptrail.errors import nearest
from amptrail.twin.bench import refuse

REST_S = 60.0  # asleep before the first cycle
FITTED_S = 1.0  # started awake: this long in the phase it was fitted in
ABORTED_S = 0.3  # the key is let go before the engine fires (common practice)
LEFT_ON_S = 5.0  # the key stays on after a stall or an aborted crank (common practice)
BREAK_S = 5.0  # the key is off, inside the after-run (common practice)
UNCLAMPED_S = 60.0  # the battery is off (common practice)
SPINS_DOWN_S = 2.0  # the engine turns on with the key off (common practice)
KEY_ON = ("ignition-on", "cranking", "running")


@dataclass(frozen=True, slots=True)
class Leg:
    """One phase to live through, for `seconds` (None: its own duration). `pass_no` counts drive cycles from
    1; 0 is what comes before the first (rest, fitting). `cut`: branches that are open in this leg alone.
    `asked`: the phase in which every switch stands and whose functions must hold, where it is another."""

    phase: Phase
    seconds: float | None = None
    pass_no: int = 0
    cut: tuple[Term, ...] = ()
    asked: Phase | None = None

    @property
    def told(self) -> Phase:
        """The phase it counts as."""
        return self.asked or self.phase


def phase_named(circuit: Circuit, name: str) -> int:
    """Index of a phase of the drive cycle; ModelError when there is none such."""
    cycle = drive_cycle(circuit)
    for i, p in enumerate(cycle):
        if key(p.name) == key(name):
            return i
    near = nearest(name, [p.name for p in cycle])
    raise refuse("no-such-phase", f"there is no phase {name}", f"Did you mean {near}?" if near else "")


def _at_most(p: Phase, most_s: float) -> Leg:
    return Leg(p, min(most_s, seconds(p) / 2))


def _named(circuit: Circuit, start: str) -> tuple[Leg, ...] | None:
    """What is lived through before the drive cycles for a start with a name; None when the phases of the
    sheet do not allow it or nothing is called so."""
    cycle = drive_cycle(circuit)
    bases = [p.base for p in cycle]
    at = {b: bases.index(b) for b in dict.fromkeys(bases)}
    on, crank, run = at.get("ignition-on"), at.get("cranking"), at.get("running")
    off = 1 + max((i for i, b in enumerate(bases) if b in KEY_ON), default=-1)
    whole = [Leg(p) for p in cycle]
    if start == "restart-in-after-run" and on is not None and run is not None and off < len(cycle):
        return (*whole[:off], _at_most(cycle[off], BREAK_S), *whole[on:])
    if start == "aborted-crank" and crank is not None:
        before = cycle[crank - 1] if crank and bases[crank - 1] == "ignition-on" else None
        back = () if before is None else (_at_most(before, LEFT_ON_S),)
        return (*whole[:crank], _at_most(cycle[crank], ABORTED_S), *back, *whole[off:])
    if start == "stall" and run is not None and on is not None:
        return (*whole[: run + 1], _at_most(cycle[on], LEFT_ON_S), *whole[off:])
    if start == "key-off-turning" and run is not None and off < len(cycle):
        if not any(p.kind == "alternator" for p in circuit.parts):
            return None
        last = max(i for i in range(off) if bases[i] == "running")
        moment = min(SPINS_DOWN_S, seconds(cycle[off]) / 2)
        spins = Leg(cycle[last], moment, asked=cycle[off])
        return (*whole[:off], spins, Leg(cycle[off], seconds(cycle[off]) - moment), *whole[off + 1 :])
    if start == "battery-reconnected":
        bed = sleeping(circuit)
        posts = tuple(Term(p.name, "") for p in circuit.parts if p.kind == "battery")
        return (*whole, Leg(bed, UNCLAMPED_S, 0, posts), Leg(bed, REST_S))
    if start == "unlock-without-start" and ("awake" in at or on is not None):
        up = [Leg(p) for p in cycle if p.base == "awake"] or [whole[on or 0]]
        return (*up, *whole[off:])
    return None


def plan(
    circuit: Circuit, start: str = "asleep", cycles: int = 2, rest_s: float = REST_S
) -> tuple[tuple[Leg, ...], tuple[Leg, ...]]:
    """(what a healthy vehicle lives through before anything is fitted, what follows) for a start.

    `asleep`: `rest_s` asleep, then `cycles` drive cycles. `awake:PHASE`: asleep and on to the end of PHASE,
    then 1 s more of it, the rest of that cycle and `cycles` more. `restart-in-after-run`, `aborted-crank`,
    `stall`, `key-off-turning`, `battery-reconnected`, `unlock-without-start`: that, and `cycles` more. Where
    the sheet's cycle does not end asleep, the sleeping phase is lived through once more. ModelError for any
    other start.
    """
    cycle = drive_cycle(circuit)
    bed = sleeping(circuit)
    rest = Leg(bed, rest_s)
    whole = tuple(Leg(p, None, n + 1) for n in range(cycles) for p in cycle)
    if cycle[-1] != bed:
        whole = (*whole, Leg(bed))
    if key(start) == "asleep":
        return (), (rest, *whole)
    if key(start).startswith("awake:"):
        at = phase_named(circuit, start.split(":", 1)[1])
        before = (rest, *(Leg(p) for p in cycle[: at + 1]))
        return before, (Leg(cycle[at], FITTED_S), *(Leg(p) for p in cycle[at + 1 :]), *whole)
    named = _named(circuit, key(start).replace("_", "-"))
    if named is None:
        raise refuse("bad-start", f"the phases of this sheet know no start {start!r}")
    return (), (rest, *named, *whole)
