"""The solver as the use cases see it: circuits in, named readings and states out.

Everything here is bookkeeping between names and arrays; the numbers come from `amptrail.solve`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.circuit.phases import drive_cycle
from amptrail.faults import changes
from amptrail.instruments import by_name
from amptrail.jobs.solved.acting import Faults
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.spots import Spot
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind
from amptrail.solve.network import Network
from amptrail.solve.readings import Tap, read
from amptrail.solve.runs import STATUS, Runs, State, run
from amptrail.solve.settle import CHATTER, NOT_CONVERGED
from amptrail.solve.tolerance import spread

Array = NDArray[np.float64]
Lane = tuple[Change, ...]
Json = dict[str, Any]
Z90 = 1.6448536269514722  # 5 to 95 % of a normal distribution


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: value (None where there is no steady one), band, what the instrument switched."""

    value: float | None
    low: float | None
    high: float | None
    disturbs: tuple[str, ...]
    alternates: tuple[float, float] | None
    flags: tuple[str, ...]

    def flagged(self, more: tuple[str, ...]) -> Reading:
        """The same reading with further flags."""
        return replace(self, flags=(*self.flags, *more)) if more else self


@dataclass(frozen=True, slots=True)
class PhaseState:
    """Status and discrete state at the end of a phase, ready for JSON."""

    status: str
    state: Json
    chatter: tuple[str, ...]
    alternatives: tuple[Json, ...]  # both ends of a race


def tap(spot: Spot, instrument: str) -> Tap:
    """The tap of an instrument by name (`lamp 21 W`, `loaded 3 ohm`) at a spot."""
    if spot.what == "amps":
        return Tap(spot.a if spot.a.name else spot.a.part, None, "clamp")
    if spot.what == "ohms" or instrument == "ohmmeter":
        return Tap(spot.a, spot.b, "ohmmeter")
    known = by_name(instrument)
    return Tap(spot.a, spot.b, known.tap_kind, known.tap_parameters)


class Session:
    """One compiled circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.network: Network = assemble(circuit)
        self._known: dict[Fault, Lane] = {}

    def lane(self, faults: Faults) -> Lane:
        """The changes of some faults at once."""
        return tuple(c for f in faults for c in self._changes(f))

    def _changes(self, fault: Fault) -> Lane:
        """The changes of one fault, worked out once: pairs bring the same ones again and again."""
        known = self._known.get(fault)
        if known is None:
            known = self._known[fault] = tuple(changes(self.network, fault))
        return known

    def condition_changes(self, c: Conditions) -> Lane:
        """Standing conditions as changes."""
        out = [Change(Kind.UNPLUG, x) for x in c.unplugged]
        out += [Change(Kind.RELAY_OUT if self._is(x, "relay") else Kind.UNPLUG, x) for x in c.out]
        out += [Change(Kind.FUSE_OUT if self._is(x, "fuse") else Kind.UNPLUG, x) for x in c.pulled]
        out += [Change(Kind.SWITCH_HELD, x, "closed") for x in c.on]
        out += [Change(Kind.SWITCH_HELD, x, "open") for x in c.off]
        return tuple(out)

    def _is(self, name: str, kind: str) -> bool:
        return any(key(p.name) == key(name) and p.kind == kind for p in self.circuit.parts)

    def run(
        self, lanes: Sequence[Lane], start: str, cycles: int, phases: Sequence[int] | None = None
    ) -> Runs:
        """Drive cycles of many lanes; `phases` limits what is kept."""
        names = None if phases is None else [self.network.phases[p].name for p in phases]
        return run(self.network, lanes, start, cycles, names)

    def read_all(
        self, runs: Runs, asked: Sequence[tuple[Spot, str]], phases: Sequence[int], bands: bool
    ) -> list[list[list[Reading]]]:
        """[lane][phase slot][asked] of readings at the phases given (indices kept in `runs`)."""
        taps = [tap(s, i) for s, i in asked]
        got = read(self.network, runs, taps)
        wide = spread(self.network, runs, got) if bands and taps else np.zeros(got.value.shape)
        slots = [runs.phases.index(p) for p in phases]
        return [
            [[_reading(got, wide, lane, slot, t) for t in range(len(taps))] for slot in slots]
            for lane in range(runs.status.shape[0])
        ]

    def read_off(self, runs: Runs, asked: Sequence[tuple[Spot, str]]) -> list[list[Reading]]:
        """[lane][asked] of ohmmeter readings with battery and charger away."""
        got = read(self.network, runs, [tap(s, i) for s, i in asked])
        none = np.zeros(got.value.shape)
        return [
            [_reading(got, none, lane, -1, t) for t in range(len(asked))]
            for lane in range(runs.status.shape[0])
        ]

    def state(self, runs: Runs, lane: int, phase: int) -> PhaseState:
        """The state at the end of a phase, with what buzzes and how else a race could have ended."""
        slot = runs.phases.index(phase)
        return PhaseState(
            STATUS[int(runs.status[lane, slot])],
            listed(runs.state(lane, slot)),
            runs.chattering(lane, slot),
            tuple(listed(s) for s in runs.alternatives(lane, slot)),
        )


def listed(s: State) -> Json:
    """A discrete state as the contract lists it (docs/json.md, State)."""
    return {
        "relays_energised": list(s.relays_energised),
        "modules_awake": list(s.modules_awake),
        "drivers_on": list(s.drivers_on),
        "drivers_tripped": list(s.drivers_tripped),
        "fuses_open": list(s.fuses_open),
        "charging": list(s.charging),
    }


def _reading(got: Any, wide: Array, lane: int, slot: int, t: int) -> Reading:
    status = int(got.status[lane, slot, t])
    flags = tuple(f for f in got.flags(lane, slot, t))
    if status == NOT_CONVERGED:
        return Reading(None, None, None, (), None, flags)
    if status == CHATTER:
        ends = (float(got.low[lane, slot, t]), float(got.high[lane, slot, t]))
        return Reading(None, None, None, (), ends, flags)
    if bool(got.over[lane, slot, t]):
        return Reading(None, None, None, (), None, flags)
    value, half = float(got.value[lane, slot, t]), Z90 * float(wide[lane, slot, t])
    return Reading(value, value - half, value + half, got.disturbs(lane, slot, t), None, flags)


@lru_cache(maxsize=32)
def session(circuit: Circuit) -> Session:
    """The compiled circuit, kept."""
    return Session(circuit)


@lru_cache(maxsize=32)
def reachable_phases(circuit: Circuit) -> tuple[int, ...]:
    """Phases of the drive cycle that a person can bring about: all that the cycle names."""
    return tuple(range(len(drive_cycle(circuit))))
