"""Evidence: the lives of a vehicle that a feed is judged from (design/0003, Evidence).

A story is one living-through of a start. Its instants are the ends of phases; volts, amps and states are
those of the solver, nominal or at a corner. Nothing here judges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from amptrail.circuit.model import Term
from amptrail.circuit.phases import sleeping
from amptrail.cycle import named_starts, story
from amptrail.feed.fitting import Fitted
from amptrail.solve.changes import Change, Kind, stack
from amptrail.solve.kernel import Out
from amptrail.solve.network import Network
from amptrail.solve.records import Lane
from amptrail.solve.runs import (
    FIRST_SLEEP_S,
    FITTED_S,
    STATUS,
    Floats,
    State,
    live_through,
    names_of,
    outputs,
    state_of,
)
from amptrail.solve.settle import CHATTER, NOT_CONVERGED

LONG_SLEEP_S = 3600.0  # start asleep: this long before first use (oracle SCHEMA, addendum 15)
WAKING_NOT = ("asleep", "after-run")
Changes = tuple["Change | Put", ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One phase lived through. `pass_no`: 0 before first use or the rest of the cycle it was fitted in,
    then 1, 2 for whole cycles. `fit` marks the second after fitting awake. `asked`: the phase it counts as,
    where another is lived (the key is off, the engine turns)."""

    pass_no: int
    phase: int
    seconds: float
    fit: bool = False
    asked: int | None = None


@dataclass(frozen=True)
class Instant:
    """The end of one step, by number into the story's arrays."""

    story: Story
    at: int

    @cached_property
    def step(self) -> Step:
        return self.story.steps[self.at]

    @cached_property
    def phase(self) -> int:
        """The phase whose functions must hold."""
        return self.step.phase if self.step.asked is None else self.step.asked

    @property
    def phase_name(self) -> str:
        return self.story.network.phases[self.phase].name

    @property
    def t_s(self) -> float:
        return sum(s.seconds for s in self.story.steps[: self.at + 1])

    @property
    def status(self) -> str:
        """settled, race, chatter or not_converged."""
        return STATUS[int(self.story.out.status[self.story.lane, self.at])]

    @property
    def steady(self) -> bool:
        return int(self.story.out.status[self.story.lane, self.at]) not in (CHATTER, NOT_CONVERGED)

    @cached_property
    def state(self) -> State:
        return state_of(self.story.network, self.bits)

    @property
    def bits(self) -> np.ndarray:
        return np.asarray(self.story.out.state[self.story.lane, self.at])

    @cached_property
    def volts(self) -> Floats:
        """[node] V above BAT.-."""
        return np.asarray(self.story.out.volts[self.story.lane, self.at])

    @cached_property
    def amps(self) -> Floats:
        """[branch] A."""
        return np.asarray(self.story.out.amps[self.story.lane, self.at])

    @property
    def chattering(self) -> tuple[str, ...]:
        """Items that keep changing."""
        if self.story.out.status[self.story.lane, self.at] != CHATTER:
            return ()
        return names_of(self.story.network, self.toured)

    @property
    def toured(self) -> np.ndarray:
        return np.asarray(self.story.out.toured[self.story.lane, self.at])

    def across(self, a: Term, b: Term) -> tuple[float, float]:
        """Lowest and highest volts from a to b: equal where the state is steady."""
        net, s = self.story.network, self.story
        na, nb = net.node(a), net.node(b)
        if s.out.status[s.lane, self.at] == CHATTER:
            low, high = s.out.low[s.lane, self.at], s.out.high[s.lane, self.at]
            return float(low[na] - high[nb]), float(high[na] - low[nb])
        v = float(self.volts[na] - self.volts[nb])
        return v, v


@dataclass(frozen=True, eq=False)
class Story:
    """One living-through: `state` healthy, faulty or fed; `start` asleep, awake:PHASE or a named start;
    `held` the switch or driver held open throughout (interlocks), else None."""

    corner: str
    state: str
    start: str
    held: str | None
    network: Network
    steps: tuple[Step, ...]
    out: Out
    lane: int
    series: Floats | None = None  # ohms that faults put in series with each branch

    @cached_property
    def instants(self) -> tuple[Instant, ...]:
        return tuple(Instant(self, i) for i in range(len(self.steps)))

    @property
    def before_use(self) -> Instant | None:
        """The end of the sleep before first use; None when fitted awake."""
        first = self.instants[0]
        return None if first.step.fit else first

    @property
    def fitted(self) -> Instant | None:
        """One second after fitting awake."""
        first = self.instants[0]
        return first if first.step.fit else None

    @property
    def shutdown(self) -> Instant | None:
        """The first sleep after use."""
        bed = self.network.phases.index(sleeping(self.network.circuit))
        used = False
        for x in self.instants:
            used = used or x.step.phase != bed
            if used and x.step.phase == bed:
                return x
        return None


@dataclass(frozen=True, slots=True)
class Put:
    """One number of a lane set outright: an array of `solve.records.Lane`, an index into it, the value."""

    array: str
    index: tuple[int, ...]
    value: float


def _stacked(net: Network, lanes: Sequence[Sequence[Change | Put]]) -> Lane:
    many = stack(net, [[c for c in lane if isinstance(c, Change)] for lane in lanes])
    for n, lane in enumerate(lanes):
        for c in lane:
            if isinstance(c, Put):
                getattr(many, c.array)[(n, *c.index)] = c.value
    return many


def live(
    net: Network,
    lanes: Sequence[Sequence[Change | Put]],
    steps: Sequence[Step],
    begin: Out | None = None,
    begin_at: int = -1,
) -> Out:
    """Every lane through the steps, the end of each kept. `begin`: from that snapshot of its lane 0."""
    through = [(s.phase, s.seconds, k) for k, s in enumerate(steps)]
    return live_through(net, _stacked(net, lanes), through, [], begin, begin_at, len(steps))


def waking(net: Network) -> tuple[int, ...]:
    """Phases a feed may be fitted in: all but the sleeping ones and after-run."""
    bed = net.phases.index(sleeping(net.circuit))
    return tuple(k for k, p in enumerate(net.phases) if k != bed and p.base not in WAKING_NOT)


def _whole(net: Network, pass_no: int) -> tuple[Step, ...]:
    return tuple(Step(pass_no, k, float(net.static.duration[k])) for k in range(len(net.phases)))


def _bedtime(net: Network, steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """A cycle that does not end asleep is followed by the sleeping phase: what is left on must show."""
    bed = net.phases.index(sleeping(net.circuit))
    if steps[-1].phase == bed:
        return steps
    return (*steps, Step(steps[-1].pass_no, bed, float(net.static.duration[bed])))


def asleep_steps(net: Network) -> tuple[Step, ...]:
    """Start A: an hour asleep, then one cycle."""
    bed = net.phases.index(sleeping(net.circuit))
    return _bedtime(net, (Step(0, bed, LONG_SLEEP_S), *_whole(net, 1)))


def awake_steps(net: Network, at: int) -> tuple[Step, ...]:
    """Start B: a second in the phase it was fitted in, the rest of the cycle, another whole cycle."""
    rest = tuple(s for s in _whole(net, 0) if s.phase > at)
    first = _bedtime(net, (Step(0, at, FITTED_S, True), *rest))
    return _bedtime(net, (*first, *_whole(net, 1)))


@dataclass(frozen=True, eq=False)
class Lives:
    """Stories by (state, start, held)."""

    fitted: Fitted
    stories: dict[tuple[str, str, str | None], Story]

    def get(self, state: str, start: str, held: str | None = None) -> Story:
        return self.stories[(state, start, held)]

    @cached_property
    def starts(self) -> tuple[str, ...]:
        """Starts lived through by the fed vehicle, asleep first."""
        return tuple(
            dict.fromkeys(start for state, start, held in self.stories if state == "fed" and not held)
        )

    def held(self, start: str) -> tuple[str, ...]:
        """Switches and outputs that were held open from this start."""
        return tuple(
            dict.fromkeys(h for state, at, h in self.stories if state == "fed" and at == start and h)
        )

    @cached_property
    def plain_starts(self) -> tuple[str, ...]:
        """Those of the nominal flags: asleep, and fitted awake in each waking phase."""
        return tuple(s for s in self.starts if s == "asleep" or s.startswith("awake:"))


def switch_names(net: Network) -> tuple[str, ...]:
    """Switches of the sheet that can be held open (a battery's own on and off left out)."""
    return tuple(dict.fromkeys(n for n in net.switches if ":" not in n))


def held_open(net: Network, name: str) -> Changes:
    """A switch or a module driver (`ECM.main`) that cannot close."""
    if name in net.drivers:
        return (Change(Kind.DRIVER_DEAD, name),)
    return (Change(Kind.SWITCH_HELD, name, "open"),)


def lives(
    f: Fitted,
    held: Sequence[str] = (),
    corner: str = "nominal",
    extra: Changes = (),
    *,
    named: bool = False,
    also_held: Sequence[str] = (),
) -> Lives:
    """Every start for the healthy, faulty and fed vehicle; fed and healthy also with each of `held` held
    open, and with each of `also_held` from asleep alone. `extra` are the changes of a corner. `named`: the
    starts with a name too (restart inside the after-run, stall, aborted crank …)."""
    net = f.network
    keys: list[tuple[str, str | None]] = [("healthy", None), ("faulty", None), ("fed", None)]
    keys += [(state, h) for h in held for state in ("healthy", "fed")]
    more: list[tuple[str, str | None]] = [
        (state, h) for h in also_held if h not in held for state in ("healthy", "fed")
    ]
    found: dict[tuple[str, str, str | None], Story] = {}

    series = {s: _stacked(net, [f.lane(s)]).series[0] for s in ("healthy", "faulty", "fed")}

    def lanes(which: Sequence[tuple[str, str | None]]) -> list[Changes]:
        return [f.lane(s) + extra + (held_open(net, h) if h else ()) for s, h in which]

    def keep(start: str, which: Sequence[tuple[str, str | None]], steps: tuple[Step, ...], out: Out) -> None:
        for n, (s, h) in enumerate(which):
            found[(s, start, h)] = Story(corner, s, start, h, net, steps, out, n, series.get(s))

    steps = asleep_steps(net)
    keep("asleep", keys + more, steps, live(net, lanes(keys + more), steps))
    bed = net.phases.index(sleeping(net.circuit))
    before = (Step(0, bed, FIRST_SLEEP_S), *_whole(net, 1))
    healthy = live(net, [f.lane("healthy") + extra], before)
    for at in waking(net):
        steps = awake_steps(net, at)
        keep(f"awake:{net.phases[at].name}", keys, steps, live(net, lanes(keys), steps, healthy, at + 1))
    for start in named_starts(f.sheet) if named else ():
        legs = story(net, start)
        steps = tuple(Step(x.pass_no, x.phase, x.seconds, False, x.asked) for x in legs)
        extras = [x.extra for x in legs]
        if any(extras):
            for which in keys[:3]:
                (lane,) = lanes([which])
                keep(start, [which], steps, _legs(net, lane, steps, extras))
        else:
            keep(start, keys[:3], steps, live(net, lanes(keys[:3]), steps))
    return Lives(f, found)


def _legs(net: Network, lane: Changes, steps: Sequence[Step], extras: Sequence[Changes]) -> Out:
    """One lane through steps that change it for a while (a battery clamp off), equal changes at a time."""
    out = outputs(net, 1, len(steps))
    begin: Out | None = None
    first = 0
    while first < len(steps):
        last = first
        while last + 1 < len(steps) and extras[last + 1] == extras[first]:
            last += 1
        at = -1 if begin is None else begin.status.shape[1] - 1
        begin = live(net, [extras[first] + lane], steps[first : last + 1], begin, at)
        for whole, part in zip(out, begin, strict=True):
            if whole.ndim > 1 and whole is not out.counts:
                whole[:, first : last + 1] = part
        first = last + 1
    return out
