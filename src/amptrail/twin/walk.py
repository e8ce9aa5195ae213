"""A drive cycle lived through: every settled instant of it, and single frozen states solved again.

Order `settle`: no part takes time, timers commit on settled states only, an event at the very end of a phase
still belongs to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from amptrail.circuit.model import Circuit, Fault, Phase, Term
from amptrail.circuit.phases import drive_cycle, seconds
from amptrail.errors import nearest
from amptrail.twin.bench import JUNCTION, SERIES, Bench, Element, refuse
from amptrail.twin.logic import LATE_S
from amptrail.twin.nodal import Solution
from amptrail.twin.overlay import Held, first_of, overlay
from amptrail.twin.settle import Machine, Settled, Status
from amptrail.twin.starts import REST_S, Leg, phase_named, plan
from amptrail.twin.state import NEVER_S, Clock, State, state_of, told

Event = Literal["phase", "timer", "fuse", "end"]
Words = dict[str, list[str]]


@dataclass(frozen=True)
class Instant:
    """One settled instant: `event` says what brought it about (`fuse`: one opened at the same moment; `end`:
    nothing did, the phase is over). Volts by metal, amps by branch, both in the sheet's own names."""

    t_s: float
    event: Event
    leg: Leg
    state: State
    status: Status
    machine: Machine
    clock: Clock
    settled: Settled

    @property
    def phase(self) -> Phase:
        return self.leg.phase

    @property
    def opens(self) -> str | None:
        """The fuse that this instant's current opens at once."""
        return self.settled.opens

    @property
    def words(self) -> Words:
        """The state as the JSON contract lists it."""
        return told(self.state)

    @property
    def timers(self) -> tuple[tuple[str, int, bool, float | None], ...]:
        """(module, number of the held or pulsed expression, its operand, when its time is up: s or None)."""
        return tuple(
            (m, n, t.value, None if t.until == NEVER_S else t.until)
            for (m, n), t in sorted(self.clock.timers.items())
        )

    @cached_property
    def all_volts(self) -> dict[str, float]:
        """V against the battery's minus post, of every metal and hub."""
        return volts_by_name(self.machine, self.settled.solution)

    @cached_property
    def all_amps(self) -> dict[str, float]:
        """A of every branch in its own direction, 0 for one that is not there now."""
        return amps_by_name(self.machine, self.state, self.phase)

    def volts(self, term: Term) -> float:
        """Volts of a point against the battery's minus post; ModelError when nothing is joined there."""
        return self.settled.solution.volts[node(self.machine, term)]

    def amps(self, branch: Term) -> float:
        """Amps of a branch, in its own direction; 0 for one that is not there now. ModelError: no such."""
        found = first_of(self.machine.f.bench, branch)
        if found is None:
            near = nearest(label(branch), list(branch_names(self.machine.f.bench)))
            hint = f"Did you mean {near}?" if near else ""
            raise refuse("no-branch", f"there is no branch {label(branch)}", hint)
        return self.machine.solve(self.state, self.phase).amps(found)


Moment = Instant  # the last instant of a phase, as `run` gives it


def node(m: Machine, t: Term | None) -> int:
    """Node of a point (None: the battery's minus post); ModelError when nothing is joined there."""
    if t is None:
        return m.reference
    b = m.f.bench
    n = b.known(t.part, t.name)
    if n is None:
        known = [label(b.names[k]) for k in sorted(b.hubs)]
        near = nearest(label(t), known)
        raise refuse("no-such-point", f"nothing is joined at {t}", f"Did you mean {near}?" if near else "")
    return n


def label(t: Term) -> str:
    """A point or branch as it is written: `K4.87`; the part's own name for a hub or its only branch."""
    return str(t) if t.name else t.part


def node_names(b: Bench) -> dict[str, int]:
    """Every node that can be touched, by the name that stands for its metal."""
    found: dict[str, int] = {}
    for n in sorted(b.hubs):
        found.setdefault(label(b.names[n]), n)
    return found


def branch_names(b: Bench) -> dict[str, int]:
    """Every branch of the circuit by its name, with its position on the bench."""
    found: dict[str, int] = {}
    for i, e in enumerate(b.out):
        if e.branch.part and not e.branch.name.endswith((JUNCTION, SERIES)):
            found.setdefault(label(e.branch), i)
    return found


def volts_by_name(m: Machine, got: Solution) -> dict[str, float]:
    """V of every node that can be touched."""
    return {name: got.volts[n] for name, n in node_names(m.f.bench).items()}


def amps_by_name(m: Machine, s: State, phase: Phase | None) -> dict[str, float]:
    """A of every branch."""
    v = m.solve(s, phase)
    return {name: v.amps(i) for name, i in branch_names(m.f.bench).items()}


def live(m: Machine, s: State, clock: Clock, legs: Iterable[Leg]) -> Iterator[Instant]:
    """Every settled instant of some phases, from a state and clock (which moves on)."""
    whole = m
    for leg in legs:
        m = whole.without(leg.cut).keyed(leg.asked)
        clock.phase = leg.phase
        end = clock.now + (leg.seconds if leg.seconds is not None else seconds(leg.phase))
        event: Event = "phase"
        while True:
            rounds = m.rounds(s, clock)
            for got in rounds:
                if got is rounds[-1] and got.status != "chatter":
                    clock.timers = dict(got.trial)
                s = got.state
                yield _instant(m, clock, leg, event, got)
                event = "fuse"
            due = [t.until for t in clock.timers.values() if clock.now + LATE_S < t.until <= end + LATE_S]
            if not due:
                break
            clock.now, event = min(due), "timer"
        clock.now = end
        yield _instant(m, clock, leg, "end", rounds[-1])


def _instant(m: Machine, clock: Clock, leg: Leg, event: Event, got: Settled) -> Instant:
    kept = Clock(clock.now, leg.phase, dict(clock.timers))
    return Instant(clock.now, event, leg, got.state, got.status, m, kept, got)


def walk(
    circuit: Circuit,
    faults: Iterable[Fault] = (),
    *,
    start: str = "asleep",
    cycles: int = 1,
    rest_s: float = REST_S,
    legs: Sequence[Leg] | None = None,
    healthy: Circuit | None = None,
    healthy_faults: Iterable[Fault] = (),
    held: Iterable[Held] = (),
    leave: Sequence[Element] = (),
) -> Iterator[Instant]:
    """Every settled instant of a vehicle with its faults, in order of time.

    `start`: see `plan`. `healthy` and `healthy_faults`: the vehicle that is brought to `awake:PHASE` (unsaid:
    this circuit without faults; for a feed, the one without the feed). `legs` replaces the phases that
    follow. `held` switches and connected elements (`leave`, see `readings.burden`)
    stay throughout.
    """
    before, after = plan(circuit, start, cycles, rest_s)
    clock, s = Clock(0.0, None), State()
    if before:
        ready = Machine(overlay(healthy or circuit, healthy_faults))
        for x in live(ready, s, clock, before):
            s = x.state
    m = Machine(overlay(circuit, faults, held))
    yield from live(m.with_elements(*leave) if leave else m, s, clock, after if legs is None else legs)


def run(
    circuit: Circuit,
    faults: Iterable[Fault] = (),
    start: str = "asleep",
    cycles: int = 2,
    rest_s: float = REST_S,
    *,
    healthy: Circuit | None = None,
    held: Iterable[Held] = (),
) -> tuple[Instant, ...]:
    """The ends of the phases of the last of `cycles` drive cycles; a race on the way to one is a race."""
    every = walk(circuit, faults, start=start, cycles=cycles, rest_s=rest_s, healthy=healthy, held=held)
    out, raced = [], False
    for x in every:
        raced = x.status == "race" or (raced and x.event != "phase")
        if x.event == "end" and x.leg.pass_no == cycles:
            out.append(replace(x, status="race") if raced and x.status == "settled" else x)
    return tuple(out)


@dataclass(frozen=True)
class Point:
    """One frozen state solved: V by metal, A by branch."""

    volts: Mapping[str, float]
    amps: Mapping[str, float]


def machine(
    circuit: Circuit,
    faults: Iterable[Fault] = (),
    held: Iterable[Held] = (),
    leave: Sequence[Element] = (),
) -> Machine:
    """A circuit with its faults, to be solved in many states (see `resolve`)."""
    m = Machine(overlay(circuit, faults, held))
    return m.with_elements(*leave) if leave else m


def resolve(m: Machine, phase: str | Phase | None, state: State | Mapping[str, Sequence[str]]) -> Point:
    """Volts and amps of one frozen discrete state (`state` as the JSON contract lists it) in a phase of the
    drive cycle (None: key off, battery away); nothing is settled, no time passes."""
    c = m.f.circuit
    at = drive_cycle(c)[phase_named(c, phase)] if isinstance(phase, str) else phase
    s = state if isinstance(state, State) else state_of(c, state)
    return Point(volts_by_name(m, m.solve(s, at).got), amps_by_name(m, s, at))
