"""Order `time`: relays take their milliseconds, modules look every 10 ms, fuses warm, the supply dips.

Between two events everything is steady. An event is: a relay that has finished moving, a module's look, a
timer, a boot, a fuse link that has melted, a step of the starting dip. Nothing depends on the order of parts
in the sheet: what happens at one moment is worked out from one solution.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from amptrail.circuit.model import key
from amptrail.cycle.pace import Pace, armatures, form_of, opens_after_s, warmed
from amptrail.cycle.settle_order import moment
from amptrail.cycle.story import Leg
from amptrail.cycle.timeline import Instant
from amptrail.cycle.tours import Tours
from amptrail.solve.logic import FORGOTTEN
from amptrail.solve.settle import NOT_CONVERGED, SETTLED
from amptrail.solve.stepping import Stepper

TOGETHER_S = 1e-9  # events within a nanosecond are one
MOST_EVENTS = 20_000  # of one leg
MOST_ROUNDS = 64  # of what happens at once
RELAY, MODULE, ALTERNATOR = 0, 1, 2


@dataclass
class Clockwork:
    """The moving parts of one network in order time. Kept from leg to leg; deadlines are absolute, s."""

    pace: Pace
    moving: dict[int, tuple[float, int]] = field(default_factory=dict)  # relay: when, to which bit
    boots: dict[int, float] = field(default_factory=dict)  # module: when it first looks
    fades: dict[int, float] = field(default_factory=dict)  # module: when its capacitor is empty
    held_v: dict[int, float] = field(default_factory=dict)  # relay: coil volts while they sufficed
    heat: dict[str, float] = field(default_factory=dict)  # fuse: 1 opens
    dip: list[tuple[float, float]] = field(default_factory=list)  # when, share of the emf
    look: float = math.inf  # when the modules look next
    looked: float = -math.inf  # when they looked last

    def fit(self, step: Stepper) -> None:
        """Take over a stepper: its relays' times, its fuses, its battery volts."""
        net = step.network
        self.step, self.net, self.at = step, net, [int(x) for x in net.static.at]
        self.arms = armatures(net, self.pace)
        by_name = {key(p.name): p for p in net.circuit.parts}
        self.forms = [form_of(by_name[key(f)]) for f in net.fuses]
        self.starters = [r for r, n in enumerate(net.relays) if by_name[key(n)].kind == "starter"]
        cells = [p for p in net.circuit.parts if p.kind == "battery"]
        self.cells = [net.branch(p.name) for p in cells]
        self.emf = [float(step.lane.p[b, 0]) for b in self.cells]
        self.drawn = any(f"{key(p.name)}.crank" in net.branch_of for p in cells)
        self.rows = [(int(k), int(u)) for k, u in net.static.parts]
        self.modules = {u: i for i, (k, u) in enumerate(self.rows) if k == MODULE}
        self.moving, self.boots, self.fades, self.held_v = {}, {}, {}, {}
        for d, forced in enumerate(step.lane.driver):
            if forced == 1:
                step.work.state[self.at[3] + d] = 1

    @property
    def busy(self) -> bool:
        """Whether something is still on its way."""
        return bool(self.moving or self.boots or self.fades)

    # ---- what happens at once ---------------------------------------------------------------------
    def rest(self, phase: int, t: float) -> int:
        """Solve; alternators follow at once. SETTLED or NOT_CONVERGED."""
        w = self.step.work
        for _ in range(MOST_ROUNDS):
            if not self.step.solve(phase):
                return NOT_CONVERGED
            old = w.state.copy()
            new = old.copy()
            for part, (kind, _) in enumerate(self.rows):
                if kind == ALTERNATOR:
                    one = self.step.wanted(part, phase, t)
                    moved = one != old
                    new[moved] = one[moved]
            if np.array_equal(new, old):
                return SETTLED
            w.state[:] = new
        return NOT_CONVERGED

    # ---- what is begun ----------------------------------------------------------------------------
    def begin(self, phase: int, t: float) -> None:
        """From the present solution: relays begin to move or think better of it, modules boot or fade."""
        for part, (kind, unit) in enumerate(self.rows):
            if kind == RELAY:
                self._relay(part, unit, phase, t)
        for m in self.modules:
            good = self._supplied(m)
            if self._alive(m):
                self.boots.pop(m, None)
                if good:
                    self.fades.pop(m, None)
                else:
                    self.fades.setdefault(m, t + self.pace.ride_s)
            elif good:
                self.boots.setdefault(m, t + self.pace.boot_s)
            else:
                self.boots.pop(m, None)

    def _alive(self, m: int) -> bool:
        return bool(self.step.work.state[self.at[1] + m])

    def _supplied(self, m: int) -> bool:
        """Whether any supply of a module is above its least volts."""
        if self.step.lane.module[m] == 2:
            return False
        s, v = self.step.static, self.step.work.v
        ground = v[s.mod_ground[m]]
        supplies = range(int(s.mod_range[m, 0]), int(s.mod_range[m, 1]))
        return any(bool(v[s.sup_node[k]] - ground >= self.step.lane.least[k]) for k in supplies)

    def _relay(self, part: int, unit: int, phase: int, t: float) -> None:
        step, arm = self.step, self.arms[unit]
        coil = int(step.static.coil[unit])
        volts = abs(float(step.work.i[coil])) * float(step.lane.p[coil, 0])
        pull, drop = (float(x) for x in step.lane.pull_drop[unit])
        now = int(step.work.state[self.at[0] + unit])
        want = int(step.wanted(part, phase, t)[self.at[0] + unit])
        if want == now:
            self.moving.pop(unit, None)
            self.held_v[unit] = volts
        elif unit not in self.moving:
            if want:
                after = arm.pulls_in_after(volts, pull)
            else:
                after = arm.lets_go_after(self.held_v.get(unit, drop), volts, drop)
            self.moving[unit] = (t + after, want)

    def look_soon(self, t: float) -> None:
        """Something changed: every living module looks at its next tick."""
        tick = self.pace.sample_s
        if self.modules:
            self.look = min(self.look, (math.floor(t / tick + 1e-6) + 1) * tick)

    def next_look(self) -> float:
        """The tick at which the modules look next: after a change, or when a timer has run out."""
        due = self.step.next_timer(self.looked, math.inf)
        if due is None or not self.modules:
            return self.look
        tick = self.pace.sample_s
        return min(self.look, math.ceil(due / tick - 1e-6) * tick)

    def _opens(self, t: float) -> tuple[float, int]:
        """When the next fuse opens, and which."""
        best, which = math.inf, -1
        for f in range(len(self.forms)):
            if self.step.work.state[self.at[5] + f]:
                continue
            left = (1 - self.heat.get(self.net.fuses[f], 0.0)) * self._to_open(f)
            if t + left < best:
                best, which = t + left, f
        return best, which

    def _to_open(self, f: int) -> float:
        amps = float(self.step.work.i[self.step.static.fuse_branch[f]])
        return opens_after_s(float(self.step.lane.rating[f]), amps, self.forms[f], self.pace.fuse)

    def warm(self, dt: float) -> None:
        """The fuses after `dt` s of the present currents."""
        for f, name in enumerate(self.net.fuses):
            if not self.step.work.state[self.at[5] + f]:
                self.heat[name] = warmed(self.heat.get(name, 0.0), self._to_open(f), dt)

    def next_event(self, t: float) -> float:
        """When something happens next; inf: never."""
        return min(
            min((x for x, _ in self.moving.values()), default=math.inf),
            min(self.boots.values(), default=math.inf),
            min(self.fades.values(), default=math.inf),
            self.dip[0][0] if self.dip else math.inf,
            max(self.next_look(), t),
            self._opens(t)[0],
        )

    # ---- what falls due ---------------------------------------------------------------------------
    def apply(self, phase: int, t: float) -> bool:
        """Everything that falls due at t; the stepper's solution is then out of date. True: the supply or a
        fuse changed, which no state list shows or no loop undoes."""
        w, late = self.step.work, t + TOGETHER_S
        opens, fuse = self._opens(t)
        told = opens <= late
        if told:
            w.state[self.at[5] + fuse] = 1
            self.heat[self.net.fuses[fuse]] = 1.0
        for unit, (when, bit) in sorted(self.moving.items()):
            if when <= late:
                w.state[self.at[0] + unit] = bit
                del self.moving[unit]
                if bit and unit in self.starters:
                    self.crank(t)
        while self.dip and self.dip[0][0] <= late:
            self._supply(self.dip.pop(0)[1])
            told = True
        for m in [m for m, when in sorted(self.fades.items()) if when <= late]:
            del self.fades[m]
            w.state[:] = self.step.wanted(self.modules[m], phase, t)  # out of supply: all off
        booted = [m for m, when in sorted(self.boots.items()) if when <= late]
        for m in booted:
            del self.boots[m]
        ticked = self.next_look() <= late
        if ticked:
            self.look, self.looked = math.inf, t
        if ticked or booted:
            self._look(phase, t, ticked, booted)
        return told

    def _look(self, phase: int, t: float, ticked: bool, booted: list[int]) -> None:
        """The modules look at their inputs, all from one solution, and set their outputs."""
        w = self.step.work
        if not self.step.solve(phase):
            return
        old = w.state.copy()
        new = old.copy()
        seen = []
        for m, part in self.modules.items():
            if not (self._alive(m) and ticked) and m not in booted:
                continue
            if not self._supplied(m):  # on its capacitor it does nothing new
                continue
            one = self.step.wanted(part, phase, t)
            moved = one != old
            new[moved] = one[moved]
            seen.append(m)
        w.state[:] = new
        for m in seen:
            self.step.take_note(m, phase, t)

    # ---- cranking ---------------------------------------------------------------------------------
    def crank(self, t: float) -> None:
        """The starter takes its current: the supply dips as ISO 16750-2 says."""
        self.dip = [(t + after, share) for after, share in self.pace.steps()]

    def end_crank(self) -> None:
        """The starter is let go: what is left of the dip is over."""
        self.dip = []
        self._supply(1.0)

    def _supply(self, share: float) -> None:
        for b, emf in zip(self.cells, self.emf, strict=True):
            self.step.lane.p[b, 0] = emf * share

    # ---- loops ------------------------------------------------------------------------------------
    def tick(self, t: float) -> tuple[int, int]:
        """Where now stands between two looks, and when the next look is due, in 0.1 us."""
        if not any(self._alive(m) for m in self.modules):
            return (0, 0)
        into = round(math.fmod(t, self.pace.sample_s) * 1e7) % round(self.pace.sample_s * 1e7)
        return (into, round((self.look - t) * 1e7) if math.isfinite(self.look) else -1)

    def signature(self, t: float) -> tuple[object, ...]:
        """All that decides what comes next, relative to now, but for the modules' ticks."""
        until = self.step.work.until

        def ahead(x: float) -> int:
            return round((x - t) * 1e7) if math.isfinite(x) else -1

        return (
            self.step.work.state.tobytes(),
            self.step.work.prev.tobytes(),
            tuple((u, ahead(x), b) for u, (x, b) in sorted(self.moving.items())),
            tuple((u, round(v, 6)) for u, v in sorted(self.held_v.items())),
            tuple((m, ahead(x)) for m, x in sorted(self.boots.items())),
            tuple((m, ahead(x)) for m, x in sorted(self.fades.items())),
            tuple(ahead(x) for x, _ in self.dip),
            tuple(ahead(float(x)) if x > t else -1 for x in until),
        )

    def skip(self, by: float) -> None:
        """Move every deadline by so many seconds."""
        self.moving = {u: (x + by, b) for u, (x, b) in self.moving.items()}
        self.boots = {m: x + by for m, x in self.boots.items()}
        self.fades = {m: x + by for m, x in self.fades.items()}
        self.dip = [(x + by, s) for x, s in self.dip]
        self.look += by
        self.looked += by
        until = self.step.work.until
        until[until > FORGOTTEN / 2] += by


class Player:
    """Plays the legs of one story in order time, one stepper after the other."""

    def __init__(self, pace: Pace) -> None:
        self.works = Clockwork(pace)
        self.exhausted = False
        self._step: Stepper | None = None

    def live(self, step: Stepper, leg: Leg, number: int, begin: float) -> Iterator[Instant]:
        """One leg: its first moment, every event that changed something, its end."""
        c = self.works
        if step is not self._step:
            c.fit(step)
            self._step = step
        t, end, phase = begin, begin + leg.seconds, leg.phase
        if self._cranks(leg):
            c.crank(t)
        c.look_soon(t)
        tours = Tours(step)
        before, told = step.work.state.copy(), True
        for _ in range(MOST_EVENTS):
            status = c.rest(phase, t)
            if status == SETTLED:
                c.begin(phase, t)
            changed = not np.array_equal(step.work.state, before)
            if changed or told:
                c.look_soon(t)
                yield tours.marked(moment(step, leg, number, t, status, before))
            if status != SETTLED or c.next_event(t) > end + TOGETHER_S:
                break
            jumped = tours.skipped(c, t, end)
            due = c.next_event(t + jumped)
            if due > end + TOGETHER_S:
                break
            c.warm(due - t - jumped)
            t, before = due, step.work.state.copy()
            told = c.apply(phase, t)
            if told:
                tours.broken()
        else:
            self.exhausted = True
        c.warm(max(end - t, 0.0))
        yield tours.marked(moment(step, leg, number, end, status, step.work.state.copy(), ends=True))
        if leg.phase in self._cranking():
            c.end_crank()

    def _cranking(self) -> list[int]:
        return [i for i, p in enumerate(self.works.net.phases) if p.base == "cranking"]

    def _cranks(self, leg: Leg) -> bool:
        """Whether the starter takes its current as soon as the leg begins: it is a mere resistance there."""
        return leg.phase in self._cranking() and self.works.drawn and not self.works.starters
