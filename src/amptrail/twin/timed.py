"""A drive cycle in order `time`: relays take milliseconds, modules look every 10 ms, fuses warm, the supply
dips while the engine is started. The same story as `walk` tells in order `settle`.

Between two events nothing moves. What falls due at one moment is worked out from one solution, so no order of
parts matters. An instant is told when something changed; a look that changes nothing is not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from amptrail.circuit.model import Circuit, Fault, Term, key
from amptrail.circuit.phases import seconds
from amptrail.reference.cranking import profile
from amptrail.twin.bench import refuse
from amptrail.twin.logic import LATE_S, ModuleLogic, Trial
from amptrail.twin.overlay import Held, first_of, overlay
from amptrail.twin.pace import (
    BOOT_S,
    DIP,
    LOOK_S,
    RIDE_S,
    Armature,
    armature,
    form_of,
    opens_after,
    warmer,
)
from amptrail.twin.settle import FUSE_TIMES, Machine, Settled
from amptrail.twin.starts import REST_S, Leg, plan
from amptrail.twin.state import Clock, State, View
from amptrail.twin.walk import Event, Instant

MOST_EVENTS = 20_000  # of one leg
Due = dict[str, float]


@dataclass
class Works:
    """What is under way; all deadlines in seconds of the story."""

    moving: dict[str, tuple[float, bool]] = field(default_factory=dict)  # armature: when, in or out
    boots: Due = field(default_factory=dict)  # module: its first look
    fades: Due = field(default_factory=dict)  # module: its capacitor is empty
    fed_v: Due = field(default_factory=dict)  # armature: winding volts while they sufficed
    heat: Due = field(default_factory=dict)  # fuse: 1 opens
    dip: list[tuple[float, float]] = field(default_factory=list)  # when, share of the emf
    look: float = math.inf
    looked: float = -math.inf
    supply: float = 1.0


class Timed:
    """A machine with its times. `drawn`: the circuit without faults, which says how things are built."""

    def __init__(self, m: Machine, drawn: Circuit, works: Works) -> None:
        self.m, self.w = m, works
        works.moving, works.boots, works.fades, works.fed_v = {}, {}, {}, {}
        parts = {key(p.name): p for p in drawn.parts}
        here = [p for p in m.f.circuit.parts if key(p.name) in parts]
        self.arms: dict[str, Armature] = {
            p.name: armature(drawn, parts[key(p.name)]) for p in here if p.kind in ("relay", "starter")
        }
        self.starters = {p.name for p in here if p.kind == "starter"}
        self.step = dict(m.named)
        self.alternators = [p.name for p in here if p.kind == "alternator"]
        self.modules = {p.name: ModuleLogic(m.f, p.name) for p in here if p.kind == "module"}
        self.coil = {n: first_of(m.f.bench, Term(n, "coil")) for n in self.arms}
        self.volts_of = {n: m.limits[n] for n in self.arms}
        self.forms = {n: form_of(parts[key(n)]) for n, _, _ in m.fuses}
        cells = [p.name for p in here if p.kind == "battery"]
        self.drawn_load = any(first_of(m.f.bench, Term(n, "crank")) is not None for n in cells)

    def forced(self, s: State) -> State:
        """Outputs that are always on are on from the first."""
        on = {d for d in self.m.drivers if self.m.f.driven.get((key(d[0]), key(d[1])))}
        return s.with_on(on)

    # ---- now ----------------------------------------------------------------------------------------
    def solve(self, s: State, clock: Clock) -> View:
        return self.m.supplied(self.w.supply).solve(s, clock.phase)

    def rest(self, s: State, clock: Clock) -> tuple[State, View]:
        """Alternators follow at once."""
        for _ in range(64):
            v = self.solve(s, clock)
            after = s
            for n in self.alternators:
                after = self.step[n](v, after, clock, {})
            if after == s:
                return s, v
            s = after
        raise refuse("twin-settle", "the alternators come to no rest")

    def begin(self, v: View, s: State, clock: Clock) -> None:
        """What the present solution sets going, and what it calls off."""
        for n, arm in self.arms.items():
            position = self.coil[n]
            volts = 0.0 if position is None else abs(v.across(position))
            pull, drop = self.volts_of[n]
            now = n in s.energised
            want = volts >= (drop if now else pull)
            if want == now:
                self.w.moving.pop(n, None)
                self.w.fed_v[n] = volts
            elif n not in self.w.moving:
                wait = (
                    arm.made_after(volts, pull)
                    if want
                    else arm.freed_after(self.w.fed_v.get(n, drop), volts, drop)
                )
                self.w.moving[n] = (clock.now + wait, want)
        for n, logic in self.modules.items():
            good = logic.alive(v)
            if n in s.alive:
                self.w.boots.pop(n, None)
                if good:
                    self.w.fades.pop(n, None)
                else:
                    self.w.fades.setdefault(n, clock.now + RIDE_S)
            elif good:
                self.w.boots.setdefault(n, clock.now + BOOT_S)
            else:
                self.w.boots.pop(n, None)

    def look_soon(self, t: float) -> None:
        """The living modules look at the next tick."""
        if self.modules:
            self.w.look = min(self.w.look, (math.floor(t / LOOK_S + 1e-6) + 1) * LOOK_S)

    def next_look(self, clock: Clock) -> float:
        """The next tick at which anything could come of looking: after a change, or a timer that ran out."""
        due = [t.until for t in clock.timers.values() if t.until > self.w.looked + LATE_S]
        if not due or not self.modules:
            return self.w.look
        return min(self.w.look, math.ceil(min(due) / LOOK_S - 1e-6) * LOOK_S)

    def melts(self, v: View, s: State) -> dict[str, float]:
        """s in which each whole fuse would open if it were cold."""
        return {
            n: opens_after(v.heating_amps(i) * FUSE_TIMES / most, self.forms[n])
            for n, i, most in self.m.fuses
            if n not in s.fuses_open
        }

    def next_fuse(self, v: View, s: State, now: float) -> tuple[float, str]:
        """When the next fuse opens, and which."""
        due = [(now + (1 - self.w.heat.get(n, 0.0)) * t, n) for n, t in self.melts(v, s).items()]
        return min(due, key=lambda x: x[0], default=(math.inf, ""))

    def next_event(self, v: View, s: State, clock: Clock) -> float:
        """When anything happens next, s; inf: never."""
        w = self.w
        waits = [t for t, _ in w.moving.values()]
        waits += [*w.boots.values(), *w.fades.values(), *(t for t, _ in w.dip[:1])]
        waits += [max(self.next_look(clock), clock.now), self.next_fuse(v, s, clock.now)[0]]
        return min(waits)

    def warm(self, v: View, s: State, dt: float) -> None:
        for n, t in self.melts(v, s).items():
            self.w.heat[n] = warmer(self.w.heat.get(n, 0.0), t, dt)

    # ---- what falls due -----------------------------------------------------------------------------
    def happen(self, v: View, s: State, clock: Clock) -> tuple[State, bool]:
        """Everything that falls due now (v: the solution until now). True: a fuse or the supply changed."""
        w, late = self.w, clock.now + LATE_S
        opens, fuse = self.next_fuse(v, s, clock.now)
        told = opens <= late
        if told:
            s, w.heat[fuse] = s.without_fuse(fuse), 1.0
        for n, (when, made) in list(w.moving.items()):
            if when <= late:
                s = s.with_relay(n, made)
                del w.moving[n]
                if made and n in self.starters:
                    self.crank(clock.now)
        while w.dip and w.dip[0][0] <= late:
            w.supply = w.dip.pop(0)[1]
            told = True
        for n in [n for n, when in w.fades.items() if when <= late]:
            del w.fades[n]
            s = self.modules[n].step(v, s, clock, {})
        booted = [n for n, when in w.boots.items() if when <= late]
        for n in booted:
            del w.boots[n]
        ticked = self.next_look(clock) <= late
        if ticked:
            w.look, w.looked = math.inf, clock.now
        if ticked or booted:
            s = self._look(s, clock, ticked, booted)
        return s, told

    def _look(self, s: State, clock: Clock, ticked: bool, booted: list[str]) -> State:
        """Modules look at their inputs, all from one solution, and set their outputs."""
        v = self.solve(s, clock)
        after, seen = s, []
        for n, logic in self.modules.items():
            looks = (ticked and n in s.alive) or n in booted
            if looks and logic.alive(v):
                after = after.taking(n, logic.step(v, s, clock, {}))
                seen.append(n)
        for n in seen:
            trial: Trial = {}
            self.modules[n].step(v, after, clock, trial)
            clock.timers.update({k: t for k, t in trial.items() if k[0] == n})
        return after

    def crank(self, t: float) -> None:
        """The starter takes its current."""
        self.w.dip = [(t + after, share) for after, share in profile(DIP)]


def _leg(x: Timed, leg: Leg, s: State, clock: Clock) -> Iterator[Instant]:
    """One leg: its first moment, every event that changed something, its end."""
    w = x.w
    clock.phase = leg.phase
    end = clock.now + (leg.seconds if leg.seconds is not None else seconds(leg.phase))
    cranking = leg.phase.base == "cranking"
    if cranking and x.drawn_load and not x.starters:
        x.crank(clock.now)
    x.look_soon(clock.now)
    before, told = s, True
    event: Event = "phase"
    for _ in range(MOST_EVENTS):
        s, v = x.rest(s, clock)
        x.begin(v, s, clock)
        if s != before or told:
            x.look_soon(clock.now)
            yield _instant(x, clock, leg, event, s, v)
        due = x.next_event(v, s, clock)
        if due > end + LATE_S:
            break
        x.warm(v, s, due - clock.now)
        clock.now, before, event = due, s, "timer"
        s, told = x.happen(v, s, clock)
    else:
        raise refuse("twin-events", f"more than {MOST_EVENTS} events in {leg.phase.name}")
    x.warm(v, s, max(end - clock.now, 0.0))
    clock.now = end
    yield _instant(x, clock, leg, "end", s, v)
    if cranking:
        w.dip, w.supply = [], 1.0


def _instant(x: Timed, clock: Clock, leg: Leg, event: Event, s: State, v: View) -> Instant:
    kept = Clock(clock.now, leg.phase, dict(clock.timers))
    m = x.m.supplied(x.w.supply)
    return Instant(clock.now, event, leg, s, "settled", m, kept, Settled(s, v.got, "settled"))


def walk_timed(
    circuit: Circuit,
    faults: Iterable[Fault] = (),
    *,
    start: str = "asleep",
    cycles: int = 1,
    rest_s: float = REST_S,
    healthy: Circuit | None = None,
    healthy_faults: Iterable[Fault] = (),
    held: Iterable[Held] = (),
) -> Iterator[Instant]:
    """Every instant of a story in order `time`; arguments as of `walk`. What never comes to rest (a buzzing
    relay) is lived through event by event and refused when it goes on for too long: ModelError."""
    before, after = plan(circuit, start, cycles, rest_s)
    works, clock, s = Works(), Clock(0.0, None), State()
    was = healthy or circuit
    vehicles = [(was, Machine(overlay(was, healthy_faults)), before)]
    vehicles.append((circuit, Machine(overlay(circuit, faults, held)), after))
    for drawn, whole, legs in vehicles:
        x, fitted = None, None
        for leg in legs:
            m = whole.without(leg.cut).keyed(leg.asked)
            if x is None or m is not fitted:
                x, fitted = Timed(m, drawn, works), m
                s = x.forced(s)
            for moment in _leg(x, leg, s, clock):
                s = moment.state
                if whole is vehicles[-1][1]:
                    yield moment
