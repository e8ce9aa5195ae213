"""run(): drive cycles of many lanes; State and the names of what changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from amptrail.circuit.model import key
from amptrail.circuit.phases import sleeping
from amptrail.errors import ModelError, Problem, nearest
from amptrail.solve import tally
from amptrail.solve.changes import Change, Kind, stack
from amptrail.solve.followed import Followed, follow_all, nothing_followed
from amptrail.solve.held import hold
from amptrail.solve.kernel import Out, run_lanes
from amptrail.solve.network import Network
from amptrail.solve.records import Lane
from amptrail.solve.reused import uncleared
from amptrail.solve.settle import BLOWS_AT, CHATTER, NOT_CONVERGED, RACE, SETTLED
from amptrail.solve.threads import share
from amptrail.solve.trail import CLEAN, NOTING, ROWS, Trail, blank, unwalked

FIRST_SLEEP_S = 60.0  # everything off, then this long in the sleeping phase
WORTH_A_TRAIL = 8  # lanes: fewer are not worth living through the healthy vehicle first
WALKS = 4  # healthy drive cycles kept: a job asks for one or two, thousands of times
FITTED_S = 1.0  # start awake: this long in the phase it was fitted in
STATUS = {SETTLED: "settled", RACE: "race", CHATTER: "chatter", NOT_CONVERGED: "not_converged"}
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class State:
    """Names of what is on, each list sorted. `relays_energised` is the winding, not a welded contact."""

    relays_energised: tuple[str, ...]
    modules_awake: tuple[str, ...]
    drivers_on: tuple[str, ...]
    drivers_tripped: tuple[str, ...]
    fuses_open: tuple[str, ...]
    charging: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Runs:
    """Ends of the phases of the last cycle. `phases` are indexes into network.phases. NaN never occurs:
    where status is not_converged or chatter, volts and amps are those of the last sweep and mean nothing."""

    network: Network
    lanes: Lane
    phases: tuple[int, ...]
    snapshot: Out

    @property
    def volts(self) -> Floats:
        """[lane, phase, node], V above BAT.-."""
        return self.snapshot.volts  # type: ignore[no-any-return]

    @property
    def amps(self) -> Floats:
        """[lane, phase, branch], A from a to b (battery and alternator: delivered)."""
        return self.snapshot.amps[:, :, : len(self.network.branches)]  # type: ignore[no-any-return]

    @property
    def status(self) -> npt.NDArray[np.int8]:
        """[lane, phase] SETTLED, RACE, CHATTER, NOT_CONVERGED."""
        return self.snapshot.status  # type: ignore[no-any-return]

    @property
    def chatter_low(self) -> Floats:
        """[lane, phase, node then branch] lowest over one chatter tour (0 elsewhere)."""
        return self.snapshot.low  # type: ignore[no-any-return]

    @property
    def chatter_high(self) -> Floats:
        """[lane, phase, node then branch] highest over one chatter tour."""
        return self.snapshot.high  # type: ignore[no-any-return]

    @property
    def counters(self) -> dict[str, int]:
        """Sums over lanes: sweeps, cold restarts, line searches, solves without an answer, all solves, and
        solves whose currents did not add up (they are among those without an answer)."""
        return tally.summed(self.snapshot.counts)

    def state(self, lane: int, phase: int) -> State:
        """The discrete state at the end of a phase (index into `phases`)."""
        return state_of(self.network, self.snapshot.state[lane, phase])

    def alternatives(self, lane: int, phase: int) -> tuple[State, ...]:
        """Both ends of a race, that of the parts switching in sheet order first; one only when the opposite
        order ends in the same state. Empty without a race."""
        if self.status[lane, phase] != RACE:
            return ()
        ends = (self.snapshot.raced[lane, phase], self.snapshot.other[lane, phase])
        return tuple(dict.fromkeys(state_of(self.network, bits) for bits in ends))

    def chattering(self, lane: int, phase: int) -> tuple[str, ...]:
        """Names of the state items that keep changing."""
        if self.status[lane, phase] != CHATTER:
            return ()
        return names_of(self.network, self.snapshot.toured[lane, phase])


def state_of(net: Network, bits: npt.NDArray[np.uint8]) -> State:
    """Names of what is on in a state vector."""
    at = net.static.at

    def on(k: int, names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(sorted(n for n, b in zip(names, bits[at[k] :], strict=False) if b))

    return State(
        on(0, net.relays),
        on(2, net.modules),
        on(3, net.drivers),
        on(4, net.drivers),
        on(5, net.fuses),
        on(6, net.alternators),
    )


def names_of(net: Network, bits: npt.NDArray[np.uint8]) -> tuple[str, ...]:
    """Items of the state lists (`relay K4`, `awake ECM`, ...) whose bit is set, sorted."""
    last = net.static.at[7]
    return tuple(
        sorted(n for n, b in zip(net.items[:last], bits, strict=False) if b and not n.startswith("alive "))
    )


def outputs(net: Network, lanes: int, phases: int) -> Out:
    """Result arrays with nothing in them yet."""
    n, b, s = net.static.nodes, net.base.kind.size, int(net.static.at[-1])
    timers, refs = net.static.hold_s.size, net.static.refs.shape[0]
    shape = (lanes, phases)
    return Out(  # every lane fills in its volts, amperes and where they start from
        uncleared((*shape, n)),
        uncleared((*shape, b)),
        np.zeros(shape, np.int8),
        np.zeros((*shape, s), np.uint8),
        uncleared((*shape, b)),
        np.zeros((*shape, timers), np.uint8),
        np.zeros((*shape, timers)),
        np.zeros((*shape, refs)),
        np.zeros(shape),
        np.zeros((*shape, n + b)),
        np.zeros((*shape, n + b)),
        np.zeros((*shape, s), np.uint8),
        np.zeros((*shape, s), np.uint8),
        np.zeros((*shape, s), np.uint8),
        np.zeros((lanes, 6), np.int64),
    )


def phase_number(net: Network, name: str) -> int:
    """Index of a phase by name; ModelError when the cycle has none such."""
    names = [p.name for p in net.phases]
    for i, n in enumerate(names):
        if key(n) == key(name):
            return i
    raise ModelError(
        (
            Problem(
                "no-such-phase",
                f"no phase is called {name}",
                expected=tuple(names),
                nearest=nearest(name, names),
            ),
        )
    )


def live_through(
    net: Network,
    lanes: Lane,
    steps: list[tuple[int, float, int]],
    starts: list[int],
    begin: Out | None,
    at: int,
    phases: int,
    trail: Trail | None = None,
    followed: Followed | None = None,
) -> Out:
    """Every lane through steps of (phase, seconds, where its end is kept or -1).

    `starts`: where in them each pass of the drive cycle begins (none: all are lived through). From lane 0 of
    `begin` at phase slot `at`, or from everything off. `phases`: how many ends are kept. `trail`: where
    lanes start from, or what is to be noted of them. `followed`: how far they have come already."""
    count = lanes.kind.shape[0]
    sofar = followed or nothing_followed(outputs(net, count, max(phases, 1)), len(starts))
    out = sofar.out
    order = np.array([s[0] for s in steps], np.int64)
    seconds = np.array([s[1] for s in steps], np.float64)
    into = np.array([s[2] for s in steps], np.int64)
    passes = np.array(starts, np.int64)
    static, every, into_out = hold(net.static), hold(lanes), hold(out)
    before, begin_at = (into_out, -1) if begin is None else (hold(begin), at)

    along = hold(trail or Trail(*unwalked()))

    def piece(first: int, last: int) -> None:
        run_lanes(
            static, every, order, seconds, into, passes, before, begin_at, into_out, along, sofar.leaves,
            sofar.copied, first, last,
        )  # fmt: skip

    share(count, piece)
    tally.add(out.counts[~sofar.same])
    return out


def _blank(net: Network, steps: int) -> Trail:
    s = net.static
    sizes = int(s.at[-1]), net.base.kind.size, s.refs.shape[0], s.fuse_branch.size
    trail = Trail(*blank(ROWS, *sizes, steps, s.hold_s.size))
    trail.at[CLEAN] = steps
    return trail


def _as_healthy(
    net: Network, lanes: Sequence[Sequence[Change]], trail: Trail
) -> npt.NDArray[np.bool_]:  # fmt: skip
    """Lanes that live as the healthy vehicle does to the last bit: all that is changed is what fuses are
    rated, and none of them is ever heated enough to open with either rating. In a large vehicle half of all
    faults are two fuses exchanged."""
    number = {key(f): n for n, f in enumerate(net.fuses)}
    most = trail.warm / BLOWS_AT
    sound = most < net.base.rating

    def unfelt(c: Change) -> bool:
        n = number.get(key(str(c.target)), -1)
        rating = c.kind == Kind.PARAM and key(str(c.other)) == "rating_a" and c.value is not None
        return rating and n >= 0 and bool(sound[n]) and bool(most[n] < c.value)

    return np.array([all(unfelt(c) for c in changes) for changes in lanes], np.bool_)


def run(
    network: Network,
    lanes: Sequence[Sequence[Change]],
    start: str = "asleep",
    cycles: int = 2,
    phases: Sequence[str] | None = None,
    every_pass: bool = False,
) -> Runs:
    """Live through the drive cycle with each lane's changes present and keep the phases of the last pass.

    `start` "asleep": everything off, 60 s asleep, then `cycles` passes. "awake:PHASE": a healthy vehicle is
    brought to the end of PHASE; the changes happen; 1 s more of it, the rest of the cycle, `cycles` passes.
    A pass that begins just as the one before it is not lived through again unless `every_pass`: same states,
    volts and amperes to rounding.
    """
    many = stack(network, lanes)
    every = range(len(network.phases))
    kept = tuple(every) if phases is None else tuple(phase_number(network, p) for p in phases)
    life = _life(network, start, cycles, kept, every_pass)
    if len(lanes) < WORTH_A_TRAIL:
        return Runs(network, many, kept, live_through(network, many, *life))
    healthy, trail = _walked(network, start, cycles, kept, every_pass)
    same = _as_healthy(network, lanes, trail)
    steps, starts = life[:2]
    out, into = outputs(network, len(lanes), max(len(kept), 1)), [s[2] for s in steps]
    base = stack(network, [()])
    followed = follow_all(network, many, into, starts, out, (base, healthy), trail, same, every_pass)
    return Runs(network, many, kept, live_through(network, many, *life, trail, followed))


Life = tuple[list[tuple[int, float, int]], list[int], Out | None, int, int]


@lru_cache(maxsize=WALKS)
def _life(network: Network, start: str, cycles: int, kept: tuple[int, ...], every_pass: bool) -> Life:
    """What `live_through` takes for a call of `run`, the healthy vehicle brought to where changes happen."""
    seconds = network.static.duration
    count = len(network.phases)
    bed = network.phases.index(sleeping(network.circuit))
    steps: list[tuple[int, float, int]] = [(bed, FIRST_SLEEP_S, -1)]
    begin: Out | None = None
    at = -1
    if start != "asleep":
        if not start.startswith("awake:"):
            said = Problem("bad-start", f"no start is called {start!r}", expected=("asleep", "awake:PHASE"))
            raise ModelError((said,))
        at = phase_number(network, start.removeprefix("awake:"))
        before = steps + [(k, float(seconds[k]), k) for k in range(count)]
        begin = live_through(network, stack(network, [()]), before, [], None, -1, count)
        steps = [(at, FITTED_S, -1)] + [(k, float(seconds[k]), -1) for k in range(at + 1, count)]
    last = max(kept, default=count - 1)  # what comes after it in the last pass is never seen
    starts: list[int] = []
    for c in range(max(cycles, 1)):
        starts.append(len(steps))
        for k in range(count if c < max(cycles, 1) - 1 else last + 1):
            steps.append((k, float(seconds[k]), kept.index(k) if k in kept else -1))
    return steps, [] if every_pass else starts, begin, at, len(kept)


@lru_cache(maxsize=WALKS)
def _walked(
    network: Network, start: str, cycles: int, kept: tuple[int, ...], every_pass: bool
) -> tuple[Out, Trail]:
    """What the healthy vehicle comes through: the same for every call that lives as long."""
    life = _life(network, start, cycles, kept, every_pass)
    trail = _blank(network, len(life[0]))
    trail.at[NOTING] = 1
    healthy = live_through(network, stack(network, [()]), *life, trail)
    trail.at[NOTING] = 0
    return healthy, trail


def conservation(runs: Runs) -> tuple[float, float]:
    """(largest current left over at any node, A; largest power left over, W) over all converged lanes."""
    net = runs.network
    worst_a = worst_w = 0.0
    leak = runs.volts * 1e-9
    for n in range(runs.volts.shape[0]):
        left = leak[n].copy()
        amps = runs.snapshot.amps[n]
        for k in range(left.shape[0]):
            np.add.at(left[k], runs.lanes.na[n], amps[k])
            np.add.at(left[k], runs.lanes.nb[n], -amps[k])
        left[:, net.static.ground] = 0.0
        good = (runs.status[n] == SETTLED) | (runs.status[n] == RACE)
        if good.any():
            worst_a = max(worst_a, float(np.abs(left[good]).max()))
            worst_w = max(worst_w, float(np.abs((left * runs.volts[n]).sum(axis=1))[good].max()))
    return worst_a, worst_w
