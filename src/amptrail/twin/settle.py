"""Settling, fuses, timers and the drive cycle: the rules of the discrete state, written out plainly."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Fault, Phase, Term
from amptrail.circuit.phases import drive_cycle, seconds, sleeping
from amptrail.errors import ModelError, Problem
from amptrail.twin.dense import Solution, solve
from amptrail.twin.overlay import Faulty, find, overlay
from amptrail.twin.state import (
    Clock,
    ModuleLogic,
    State,
    Timer,
    TimerKey,
    View,
    alternator_next,
    frozen,
    part_named,
    relay_next,
)

REST_S = 60.0  # asleep before the first cycle
FUSE_TIMES = 1.35
MAX_ROUNDS = 400
Status = Literal["settled", "race", "chatter"]
Stepper = Callable[[View, State, Clock, dict[TimerKey, Timer]], State]


@dataclass
class Settled:
    """One settled instant. `tour`: the solutions of one round of the loop when it chatters."""

    state: State
    solution: Solution
    status: Status
    tour: list[Solution] = field(default_factory=list)


class Machine:
    """A faulted circuit that can be solved and settled."""

    def __init__(self, faulty: Faulty) -> None:
        self.f = faulty
        c = faulty.circuit
        batteries = [p for p in c.parts if p.kind == "battery"]
        ground = Term(batteries[0].name, "-") if batteries else Term("", "bat-")
        self.reference = faulty.bench.node(ground.part, ground.name)
        self.steppers = [s for p in c.parts if (s := self._stepper(p.kind, p.name))]
        self.fuses = [p for p in c.parts if p.kind in ("fuse", "link")]

    def _stepper(self, kind: str, name: str) -> Stepper | None:
        part = part_named(self.f.circuit, name)
        if kind == "relay":

            def relay(v: View, s: State, clock: Clock, trial: dict[TimerKey, Timer]) -> State:
                on = relay_next(v, part, s)
                return replace(s, energised=(s.energised | {name}) if on else (s.energised - {name}))

            return relay
        if kind == "alternator":

            def alternator(v: View, s: State, clock: Clock, trial: dict[TimerKey, Timer]) -> State:
                on = alternator_next(v, part, s, clock.phase)
                return replace(s, excited=(s.excited | {name}) if on else (s.excited - {name}))

            return alternator
        return ModuleLogic(self.f, name).step if kind == "module" else None

    def solve(self, s: State, phase: Phase | None) -> View:
        here = frozen(self.f, s, phase)
        b = self.f.bench
        return View(self.f, here, solve(here, len(b.names), b.hubs, self.reference))

    def blown(self, v: View) -> str | None:
        """The fuse furthest above 1.35 x its rating."""
        over = {
            p.name: abs(v.amps(p.name, "")) / (FUSE_TIMES * tables.number(p, "rating_a")) for p in self.fuses
        }
        worst = max(over, key=lambda n: over[n], default=None)
        return worst if worst is not None and over[worst] > 1 else None

    def settle(self, s: State, clock: Clock) -> tuple[Settled, dict[TimerKey, Timer]]:
        """Relays, modules, alternators until nothing moves; then the worst fuse; again."""
        for _ in range(len(self.fuses) + 1):
            got, trial = self._settle(s, clock)
            fuse = self.blown(View(self.f, frozen(self.f, got.state, clock.phase), got.solution))
            if got.status == "chatter" or fuse is None:
                return got, trial
            s = replace(got.state, fuses_open=got.state.fuses_open | {fuse})
        return got, trial

    def _settle(self, s: State, clock: Clock) -> tuple[Settled, dict[TimerKey, Timer]]:
        """All at once from one solution; when a state comes back, one part at a time."""
        seen: set[State] = set()
        while s not in seen:
            seen.add(s)
            v = self.solve(s, clock.phase)
            trial: dict[TimerKey, Timer] = {}
            after = s
            for step in self.steppers:
                after = step(v, after, clock, trial)
            if after == s:
                return Settled(s, v.got, "settled"), trial
            s = after
        return self._one_by_one(s, clock)

    def _one_by_one(self, s: State, clock: Clock) -> tuple[Settled, dict[TimerKey, Timer]]:
        seen: dict[State, int] = {}
        solutions: list[Solution] = []
        for _ in range(MAX_ROUNDS):
            if s in seen:
                tour = solutions[seen[s] :]
                return Settled(s, tour[0], "chatter", tour), {}
            seen[s] = len(solutions)
            start, trial = s, dict[TimerKey, Timer]()
            v = self.solve(s, clock.phase)
            solutions.append(v.got)
            for step in self.steppers:
                after = step(v, s, clock, trial)
                if after != s:
                    s = after
                    v = self.solve(s, clock.phase)
                    solutions.append(v.got)
            if s == start:
                return Settled(s, v.got, "race"), trial
        raise ModelError((Problem("twin-settle", "the twin's settling neither ends nor repeats"),))


@dataclass(frozen=True)
class Moment:
    """The last instant of a phase: volts by terminal or net name, amps by branch name."""

    phase: Phase
    state: State
    status: Status
    machine: Machine
    clock: Clock
    settled: Settled

    def volts(self, term: Term) -> float:
        """Volts of a node against the battery's minus post."""
        b = self.machine.f.bench
        n = b.wiring.node(term)
        return self.settled.solution.volts[n if n is not None else b.node(term.part, term.name)]

    def amps(self, branch: Term) -> float:
        """Amps of a branch, in its own direction; 0 for one that is not there now."""
        here = frozen(self.machine.f, self.state, self.phase)
        v = View(self.machine.f, here, self.settled.solution)
        return sum(v.amps(*names) for names in self._names(branch))

    def _names(self, branch: Term) -> set[tuple[str, str]]:
        b = self.machine.f.bench
        try:
            return {(b.out[i].branch.part, b.out[i].branch.name) for i in find(b, branch)}
        except ModelError:
            return set()  # opened by a fault


def _through(m: Machine, s: State, clock: Clock, end: float) -> tuple[Settled, State]:
    """From the start of a phase to its end, stopping at every timer; events at the very end count."""
    while True:
        got, trial = m.settle(s, clock)
        if got.status != "chatter":
            clock.timers = trial
        s = got.state
        coming = [t.until for t in clock.timers.values() if clock.now < t.until <= end]
        if not coming:
            clock.now = end
            return got, s
        clock.now = min(coming)


def run(
    circuit: Circuit,
    faults: Iterable[Fault] = (),
    start: Literal["asleep"] = "asleep",
    cycles: int = 2,
    rest_s: float = REST_S,
) -> tuple[Moment, ...]:
    """The last of `cycles` drive cycles, after `rest_s` seconds asleep; everything off, fault fitted."""
    m = Machine(overlay(circuit, faults))
    clock = Clock(0.0, sleeping(circuit))
    _, s = _through(m, State(), clock, rest_s)
    out: list[Moment] = []
    for _ in range(cycles):
        out = []
        for phase in drive_cycle(circuit):
            clock.phase = phase
            got, s = _through(m, s, clock, clock.now + seconds(phase))
            kept = Clock(clock.now, phase, dict(clock.timers))
            out.append(Moment(phase, s, got.status, m, kept, got))
    return tuple(out)


def state_words(s: State) -> dict[str, list[str]]:
    """The state in the words of the oracle's truth files, sorted."""
    return {
        "relays_energised": sorted(s.energised),
        "modules_awake": sorted(s.awake),
        "drivers_on": sorted(".".join(p) for p in s.on),
        "drivers_tripped": sorted(".".join(p) for p in s.tripped),
        "fuses_blown": sorted(s.fuses_open),
        "charging": sorted(s.excited),
    }
