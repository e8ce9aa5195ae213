"""Settling: one state after the other until nothing changes, then the worst fuse, then again."""

from __future__ import annotations

import copy
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from amptrail.circuit import tables
from amptrail.circuit.model import Driver, Phase, Term, key
from amptrail.errors import ModelError, Problem
from amptrail.twin.bench import NEVER, Element
from amptrail.twin.logic import Trial, steppers
from amptrail.twin.nodal import Solution, mean, solve
from amptrail.twin.overlay import Faulty, find, first_of, switches_in
from amptrail.twin.state import Clock, State, View, present, pulses

FUSE_TIMES = 1.35
MAX_ROUNDS = 512
Status = Literal["settled", "race", "chatter"]
WORSE: tuple[Status, ...] = ("settled", "race", "chatter")


@dataclass(frozen=True)
class Settled:
    """One settled instant. `tour`: the solutions of one round of the loop when it chatters, `toured` the
    states met there. `opens`: the fuse that this state opens next."""

    state: State
    solution: Solution
    status: Status
    tour: tuple[Solution, ...] = ()
    toured: tuple[State, ...] = ()
    opens: str | None = None
    trial: Trial = field(default_factory=dict)


class Machine:
    """A faulted circuit that can be solved and settled.

    `first` are parts that move before the others where one moves at a time (those of a temporary feed).
    Operating points are kept by state and phase: the same one comes back in every cycle.
    """

    def __init__(self, faulty: Faulty, first: Iterable[str] = ()) -> None:
        self.f = faulty
        c = faulty.circuit
        batteries = [p for p in c.parts if p.kind == "battery"]
        ground = Term(batteries[0].name, "-") if batteries else Term("", "bat-")
        self.reference = faulty.bench.node(ground.part, ground.name)
        every = steppers(faulty)
        ahead = {key(n) for n in first}
        self.turns = [s for n, s in every if key(n) in ahead] + [s for n, s in every if key(n) not in ahead]
        self.named = every
        self.steppers = [s for _, s in every]
        self.limits = {
            p.name: (tables.number(p, "pull_v"), tables.number(p, "drop_v"))
            for p in c.parts
            if p.kind in ("relay", "starter")
        }
        self.fuses = [
            (p.name, found, FUSE_TIMES * tables.number(p, "rating_a"))
            for p in c.parts
            if p.kind in ("fuse", "link") and (found := first_of(faulty.bench, Term(p.name, ""))) is not None
        ]
        self.drivers = [(x.module, x.name) for x in c.modules if isinstance(x, Driver)]
        self.duties = {
            (x.module, x.name): x.duty
            for x in c.modules
            if isinstance(x, Driver) and x.duty is not None and x.duty < 1.0
        }
        self.cut: dict[tuple[Term, ...], Machine] = {}
        self.dipped: dict[float, Machine] = {}
        self.turned: dict[str, Machine] = {}
        self.kept: dict[tuple[object, ...], View] = {}
        self.last: tuple[float, ...] | None = None  # where the next operating point is looked for first

    def with_elements(self, *more: Element) -> Machine:
        """The same machine with something connected (an instrument)."""
        other = copy.copy(self)
        bench = copy.copy(self.f.bench)
        bench.out = [*bench.out, *more]
        other.f = replace(self.f, bench=bench)
        other.kept, other.cut, other.dipped, other.turned = {}, {}, {}, {}
        return other

    def without(self, cut: tuple[Term, ...]) -> Machine:
        """The same machine with some branches open."""
        if not cut:
            return self
        if cut not in self.cut:
            other = self.with_elements()
            for i in (i for t in cut for i in find(other.f.bench, t)):
                other.f.bench.out[i] = replace(other.f.bench.out[i], gate=NEVER, rest=None)
            self.cut[cut] = other
        return self.cut[cut]

    def keyed(self, phase: Phase | None) -> Machine:
        """The same machine with every switch that nothing else holds as it is in a phase."""
        if phase is None:
            return self
        if phase.name not in self.turned:
            other = self.with_elements()
            other.f = replace(other.f, held={**switches_in(self.f.circuit, phase), **self.f.held})
            self.turned[phase.name] = other
        return self.turned[phase.name]

    def supplied(self, share: float) -> Machine:
        """The same machine with every battery's emf at a share of its own (the starting dip)."""
        if share == 1.0:
            return self
        if share not in self.dipped:
            other = self.with_elements()
            for i, e in enumerate(other.f.bench.out):
                if e.law == "cell":
                    other.f.bench.out[i] = replace(e, p=(e.p[0] * share, *e.p[1:]))
            self.dipped[share] = other
        return self.dipped[share]

    def solve(self, s: State, phase: Phase | None) -> View:
        """The operating point of one frozen state."""
        k = (s.energised, s.awake, s.on, s.excited, s.fuses_open, phase)
        if k not in self.kept:
            b = self.f.bench
            within = []
            for share, conducting in pulses(self.duties, s):
                here = present(self.f, conducting, phase)
                got = solve([e for _, e in here], len(b.names), b.hubs, self.reference, self.last)
                self.last = got.volts
                within.append((share, got))
            self.kept[k] = View(self.f, present(self.f, s, phase), mean(within))
        return self.kept[k]

    def blown(self, v: View, s: State) -> str | None:
        """The fuse furthest above 1.35 x its rating."""
        over = {n: v.heating_amps(i) / most for n, i, most in self.fuses if n not in s.fuses_open}
        worst = max(over, key=lambda n: over[n], default=None)
        return worst if worst is not None and over[worst] > 1 else None

    def rounds(self, s: State, clock: Clock) -> list[Settled]:
        """Relays, modules, alternators until nothing moves; then the worst fuse; again. One a fuse, and
        the last. The status of each is the worst so far."""
        out: list[Settled] = []
        worst: Status = "settled"
        for _ in range(len(self.fuses) + 1):
            got = self._settle(s, clock)
            worst = max(worst, got.status, key=WORSE.index)
            opens = None
            if got.status != "chatter":
                opens = self.blown(self.solve(got.state, clock.phase), got.state)
            out.append(replace(got, status=worst, opens=opens))
            if opens is None:
                break
            s = replace(got.state, fuses_open=got.state.fuses_open | {opens})
        return out

    def settle(self, s: State, clock: Clock) -> Settled:
        """Where everything comes to rest."""
        return self.rounds(s, clock)[-1]

    def _settle(self, s: State, clock: Clock) -> Settled:
        """All at once from one solution; when a state comes back, one part at a time."""
        seen: set[State] = set()
        while s not in seen and len(seen) < MAX_ROUNDS:
            seen.add(s)
            v = self.solve(s, clock.phase)
            trial: Trial = {}
            after = s
            for step in self.steppers:
                after = step(v, after, clock, trial)
            if after == s:
                return Settled(s, v.got, "settled", trial=trial)
            s = after
        return self._one_by_one(s, clock)

    def _one_by_one(self, s: State, clock: Clock) -> Settled:
        """Round-robin: the next part that would change does. A loop is closed when the same state comes back
        with the same part to move."""
        turn, met, tour = 0, dict[tuple[State, int], int](), list[tuple[State, Solution]]()
        for _ in range(MAX_ROUNDS):
            v = self.solve(s, clock.phase)
            if (s, turn) in met:
                loop = tour[met[s, turn] :]
                solutions, states = tuple(x for _, x in loop), tuple(x for x, _ in loop)
                return Settled(s, solutions[0], "chatter", solutions, states)
            met[s, turn] = len(tour)
            tour.append((s, v.got))
            moved = self._next(s, v, clock, turn)
            if moved is None:
                return self._at_rest(s, v, clock)
            s, turn = moved
        raise ModelError((Problem("twin-settle", "the twin's settling neither ends nor repeats"),))

    def _next(self, s: State, v: View, clock: Clock, turn: int) -> tuple[State, int] | None:
        n = len(self.turns)
        for k in range(n):
            part = (turn + k) % n
            after = self.turns[part](v, s, clock, {})
            if after != s:
                return after, (part + 1) % n
        return None

    def _at_rest(self, s: State, v: View, clock: Clock) -> Settled:
        trial: Trial = {}
        for step in self.steppers:
            step(v, s, clock, trial)
        return Settled(s, v.got, "race", trial=trial)
