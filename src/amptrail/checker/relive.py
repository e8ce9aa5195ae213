"""Live through a story again with the twin, and compare what the proof says of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise

from amptrail.checker.data import STATE, Point, Proof, RejectedError, Step, StoryKey
from amptrail.checker.shape import Shape
from amptrail.checker.vehicle import Job, machine_of, metals
from amptrail.circuit.model import And, Circuit, Driver, Expr, Held, Not, Or, Pulsed, Signal, key
from amptrail.circuit.phases import drive_cycle, seconds, sleeping
from amptrail.twin.settle import Machine
from amptrail.twin.starts import FITTED_S, REST_S, Leg, plan
from amptrail.twin.state import Clock, State
from amptrail.twin.walk import Instant, live, node

NIGHT_S = 3600.0
VOLTS, AMPS, SHARE, TIME_S = 1e-6, 1e-5, 1e-6, 1e-6
# what a microvolt between two nodes makes of amps through a milliohm or less
AMPS_SHARE = 1e-5


@dataclass(frozen=True)
class Lived:
    """One step as the twin has it."""

    leg: Leg
    fit: bool
    t_s: float
    status: str
    instant: Instant


@dataclass
class Garage:
    """Vehicles of one job, each built once, with what was lived through already."""

    job: Job
    machines: dict[object, Machine] = field(default_factory=dict)
    brought: dict[object, list[tuple[State, Clock]]] = field(default_factory=dict)
    lived: dict[object, tuple[Lived, ...]] = field(default_factory=dict)

    def machine(self, k: StoryKey, values: dict[str, float]) -> Machine:
        told = (k.vehicle, k.held, k.extra, tuple(sorted(values.items())))
        if told not in self.machines:
            word, _, chain = (k.extra or "").partition(" ")
            short_at = Shape.of(self.job).chain_called(chain).end if word == "short" else None
            self.machines[told] = machine_of(self.job, k, values, short_at)
        return self.machines[told]

    def again(self, k: StoryKey, values: dict[str, float]) -> tuple[Lived, ...]:
        """The story lived through by the twin."""
        told = (replace(k, corner=""), tuple(sorted(values.items())))
        if told not in self.lived:
            self.lived[told] = tuple(self._live(k, values))
        return self.lived[told]

    def _live(self, k: StoryKey, values: dict[str, float]) -> Iterator[Lived]:
        c = self.job.sheet
        clock, s = Clock(0.0, None), State()
        fitted = k.start.startswith("awake:")
        if fitted:
            s, clock = self._brought(k, values)
        legs = half_legs(c) if k.extra == "half" else legs_of(c, k.start)
        m = self.machine(k, values)
        began, raced = clock.now, False
        number = 0
        for x in live(m, s, clock, legs):
            raced = x.status == "race" or (raced and x.event != "phase")
            if x.event == "end":
                status = "race" if raced and x.status == "settled" else x.status
                yield Lived(x.leg, fitted and number == 0, x.t_s - began, status, x)
                number += 1

    def _brought(self, k: StoryKey, values: dict[str, float]) -> tuple[State, Clock]:
        """The healthy vehicle at the end of the phase a feed is fitted in."""
        told = tuple(sorted(values.items()))
        if told not in self.brought:
            m = self.machine(StoryKey(k.corner, "healthy", k.start), values)
            c = self.job.sheet
            clock = Clock(0.0, None)
            legs = [Leg(sleeping(c), REST_S), *(Leg(p) for p in drive_cycle(c))]
            ends = [x for x in live(m, State(), clock, legs) if x.event == "end"]
            self.brought[told] = [(x.state, x.clock) for x in ends]
        name = k.start.removeprefix("awake:")
        at = next(n for n, p in enumerate(drive_cycle(self.job.sheet)) if p.name == name)
        s, clock = self.brought[told][at + 1]
        return s, Clock(clock.now, clock.phase, dict(clock.timers))


def legs_of(c: Circuit, start: str) -> tuple[Leg, ...]:
    """What follows the fitting: whole phases, the sleeping one once more where the cycle ends elsewhere."""
    cycle, bed = drive_cycle(c), sleeping(c)

    def to_bed(legs: list[Leg]) -> list[Leg]:
        return legs if legs[-1].phase == bed else [*legs, Leg(bed, None, legs[-1].pass_no)]

    whole = [Leg(p, None, 1) for p in cycle]
    if start == "asleep":
        return tuple(to_bed([Leg(bed, NIGHT_S), *whole]))
    if start.startswith("awake:"):
        names = [p.name for p in cycle]
        at = names.index(start.removeprefix("awake:"))
        rest = to_bed([Leg(cycle[at], FITTED_S), *(Leg(p) for p in cycle[at + 1 :])])
        return tuple(to_bed([*rest, *whole]))
    return plan(c, start, 1)[1]


def _times(e: Expr) -> Iterator[float]:
    match e:
        case Held() | Pulsed():
            yield e.seconds
            yield from _times(e.of)
        case Not():
            yield from _times(e.of)
        case And() | Or():
            for x in e.of:
                yield from _times(x)
        case _:
            pass


def half_legs(c: Circuit) -> tuple[Leg, ...]:
    """From asleep, with each phase of the cycle cut half-way between the times of the sheet's timers."""
    every = [x.expr for x in c.modules if isinstance(x, Signal)]
    every += [x.when for x in c.modules if isinstance(x, Driver)]
    times = sorted({t for e in every for t in _times(e)})
    out: list[Leg] = []
    for leg in legs_of(c, "asleep"):
        whole = leg.seconds if leg.seconds is not None else seconds(leg.phase)
        cuts = [0.0, *(t for t in times if t < whole), whole]
        if leg.pass_no == 0 or len(cuts) == 2:
            out.append(leg)
            continue
        ends = [(a + b) / 2 for a, b in pairwise(cuts)] + [whole]
        out += [Leg(leg.phase, b - a, leg.pass_no) for a, b in pairwise([0.0, *ends])]
    return tuple(out)


def compare(proof: Proof, garage: Garage, k: StoryKey, done: set[object]) -> None:
    """Every step of a story against the twin; RejectedError at the first that differs."""
    steps = proof.stories[k]
    again = garage.again(k, proof.corners[k.corner])
    names = [s.phase for s in steps]
    if names != [x.leg.told.name for x in again]:
        raise RejectedError(f"the phases are {', '.join(names)}; they must be "
                       f"{', '.join(x.leg.told.name for x in again)}", str(k))  # fmt: skip
    before = 0.0
    for n, (s, x) in enumerate(zip(steps, again, strict=True)):
        where = f"{k}, step {n + 1} {s.phase}"
        if s.t_s <= before:
            raise RejectedError("the steps are not in the order of time", where)
        before = s.t_s
        _step(s, x, where)
        told = (id(s.point), id(x.instant))
        if told not in done:
            _point(s, x, where)
            done.add(told)


def _step(s: Step, x: Lived, where: str) -> None:
    if abs(s.t_s - x.t_s) > TIME_S:
        raise RejectedError(f"it ends at {s.t_s:g} s, not {x.t_s:g} s", where)
    if s.pass_no != x.leg.pass_no or s.fit != x.fit or s.turning != (x.leg.asked is not None):
        raise RejectedError("it is told as part of another drive cycle", where)
    if s.status != x.status:
        raise RejectedError(f"it is {x.status}, not {s.status}", where)


def _point(s: Step, x: Lived, where: str) -> None:
    p, c = s.point, x.instant.machine.f.circuit
    _states(p, x.instant, where)
    names = {name: node(x.instant.machine, t) for name, t in metals(c).items()}
    if set(p.volts) != set(names):
        odd = sorted(set(p.volts) ^ set(names))[0]
        raise RejectedError(f"the metals told are not those of the circuit: {odd}", where)
    if s.status == "chatter":
        _buzz(p, x.instant, names, where)
        return
    volts = x.instant.settled.solution.volts
    for name, n in names.items():
        if abs(p.volts[name] - volts[n]) > VOLTS + SHARE * abs(volts[n]):
            raise RejectedError(f"{name} has {volts[n]:.6f} V, not {p.volts[name]:.6f} V", where)
    amps = x.instant.all_amps
    for name in {*p.amps, *amps}:
        if name not in amps:
            raise RejectedError(f"no branch is called {name}", where)
        said = p.amps.get(name, 0.0)
        if abs(said - amps[name]) > AMPS + AMPS_SHARE * abs(amps[name]):
            raise RejectedError(f"{name} carries {amps[name]:.6f} A, not {said:.6f} A", where)


def words_of(x: Instant) -> dict[str, set[str]]:
    """The state of an instant in the words of a proof."""
    s, c = x.state, x.machine.f.circuit
    signals = {key(f"{y.module}.{y.name}") for y in c.modules if isinstance(y, Signal)}
    words = {w: set(names) for w, names in x.words.items()}
    words["modules_alive"] = set(s.alive)
    words["signals_true"] = {".".join(p) for p in s.signals if key(".".join(p)) in signals}
    return words


def _states(p: Point, x: Instant, where: str) -> None:
    words = words_of(x)
    for word in STATE:
        said, found = {key(n) for n in p.state[word]}, {key(n) for n in words[word]}
        for odd in sorted(said ^ found):
            how = "is told and is not so" if odd in said else "is not told"
            raise RejectedError(f"{word.replace('_', ' ')}: {odd} {how}", where)


def _active(s: State) -> set[str]:
    found = {f"relay.{n}" for n in s.energised} | {f"drv.{m}.{n}" for m, n in s.on}
    return {key(n) for n in found | {f"sig.{m}.{n}" for m, n in s.signals}}


def _buzz(p: Point, x: Instant, names: dict[str, int], where: str) -> None:
    """What never comes to rest: the same parts, between the same volts."""
    states = [_active(s) for s in x.settled.toured]
    moving: set[str] = set().union(*states) - states[0].intersection(*states[1:])
    if {key(n) for n in p.buzzing} != moving:
        raise RejectedError(f"what buzzes is {', '.join(sorted(moving))}", where)
    for said, pick in ((p.low, min), (p.high, max)):
        for name, n in names.items():
            found = pick(s.volts[n] for s in x.settled.tour)
            if name not in said or abs(said[name] - found) > VOLTS + SHARE * abs(found):
                raise RejectedError(f"{name} does not move as told while it buzzes", where)


__all__ = ["Garage", "Lived", "compare", "half_legs", "legs_of", "words_of"]
