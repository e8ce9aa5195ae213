"""One lane lived through step by step: settle now, take note, next timer; snapshots to start from.

Calls the compiled functions that `run` calls, so a drive cycle stepped here ends in the very same bits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from amptrail.circuit.model import key
from amptrail.errors import ModelError, Problem
from amptrail.solve.changes import Change, stack
from amptrail.solve.held import hold
from amptrail.solve.kernel import ADVANCE, COMMIT, NOTE, SETTLE, SOLVE, lane_of, step, workspace
from amptrail.solve.logic import FORGOTTEN, LATE_S
from amptrail.solve.network import SPARE, Network
from amptrail.solve.readings import Tap, instrument_branch, tap_nodes
from amptrail.solve.records import Lane, Work

Floats = npt.NDArray[np.float64]
Bits = npt.NDArray[np.uint8]
NO_BURDEN = ("clamp",)  # left connected it changes nothing


@dataclass(frozen=True, eq=False)
class Snapshot:
    """Everything that lives on from one instant to the next: discrete state, timers, warm start."""

    network: Network
    t_s: float
    state: Bits  # [state item]
    x: Floats  # [branch] element voltages, V: where the next solution starts from
    prev: Bits  # [timer] what it last took note of
    until: Floats  # [timer] s
    copies: Floats  # [reference] A copied to the supply


def asleep(network: Network) -> Snapshot:
    """Everything off at t = 0."""
    s = network.static
    timers = s.hold_s.size
    return Snapshot(
        network,
        0.0,
        np.zeros(int(s.at[-1]), np.uint8),
        np.zeros(network.base.kind.size),
        np.zeros(timers, np.uint8),
        np.full(timers, FORGOTTEN),
        np.zeros(s.refs.shape[0]),
    )


def carried(old: Snapshot, new: Network) -> Snapshot:
    """The same moment in another network of the same vehicle, such as one with a feed fitted.

    What both have by name keeps its state and its timers; what is new begins off.
    """
    if old.network is new:
        return old
    to = asleep(new)
    was = {key(n): i for i, n in enumerate(old.network.items)}
    for i, name in enumerate(new.items):
        if key(name) in was:
            to.state[i] = old.state[was[key(name)]]
    branch = {key(n): i for i, n in enumerate(old.network.branches)}
    for i, name in enumerate(new.branches):
        if key(name) in branch:
            to.x[i] = old.x[branch[key(name)]]
    for i, k in enumerate(_timers(new)):
        known = _timers(old.network)
        if k in known:
            to.prev[i], to.until[i] = old.prev[known.index(k)], old.until[known.index(k)]
    names = _references(old.network)
    for i, name in enumerate(_references(new)):
        if name in names:
            to.copies[i] = old.copies[names.index(name)]
    return Snapshot(new, old.t_s, to.state, to.x, to.prev, to.until, to.copies)


def _timers(net: Network) -> list[tuple[str, int]]:
    """Timers by (module, how manyth of that module)."""
    seen: dict[str, int] = {}
    out = []
    for m in net.static.timer_mod:
        name = key(net.modules[int(m)])
        seen[name] = seen.get(name, -1) + 1
        out.append((name, seen[name]))
    return out


def _references(net: Network) -> list[str]:
    return [key(net.branches[int(b)]) for b in net.static.refs[:, 0]]


def connected(network: Network, lane: Lane, taps: Sequence[Tap]) -> Lane:
    """The lane with instruments left connected; ModelError for an ohmmeter or for too many at once."""
    first = len(network.branches)
    for tap in taps:
        if tap.instrument in NO_BURDEN:
            continue
        if tap.instrument == "ohmmeter":
            text = "an ohmmeter cannot stay connected through a drive cycle: it would be destroyed"
            raise ModelError((Problem("not-left-connected", text, remedy="Leave a meter or a lamp."),))
        free = [b for b in range(first, first + SPARE + 1) if lane.kind[b] == 0]
        if not free:
            text = "too many instruments and bridges at once"
            raise ModelError((Problem("too-many-instruments", text, remedy="Leave fewer connected."),))
        b = free[-1]  # the branch meant for an instrument first, then those of bridges
        a, z = tap_nodes(network, tap)
        kind, p = instrument_branch(tap)
        lane.kind[b], lane.na[b], lane.nb[b] = kind, a, z
        lane.p[b, : len(p)] = p
    return lane


class Stepper:
    """A lane and its scratch. Times in s, volts in V above BAT.-, amps in A from a to b."""

    def __init__(self, network: Network, lane: Lane, begin: Snapshot) -> None:
        self.network, self.static, self.lane = network, network.static, lane
        self.work: Work = workspace(self.static, lane)
        self._held = hold(self.static), hold(lane), hold(self.work)
        self.load(begin)

    @classmethod
    def of(
        cls, network: Network, changes: Sequence[Change], leave: Sequence[Tap], begin: Snapshot
    ) -> Stepper:
        """A lane with these changes, instruments left connected, continuing from a snapshot."""
        lane = lane_of(stack(network, [tuple(changes)]), 0)
        return cls(network, connected(network, lane, leave), carried(begin, network))

    def load(self, s: Snapshot) -> None:
        """Continue from a snapshot of the same network."""
        w = self.work
        w.state[:], w.x[:], w.prev[:], w.until[:] = s.state, s.x, s.prev, s.until
        for r in range(self.static.refs.shape[0]):
            self.lane.p[self.static.refs[r, 1], 0] = s.copies[r]

    def save(self, t: float) -> Snapshot:
        """A snapshot at time t."""
        w, refs = self.work, self.static.refs
        copies = np.array([self.lane.p[refs[r, 1], 0] for r in range(refs.shape[0])], np.float64)
        return Snapshot(
            self.network, t, w.state.copy(), w.x.copy(), w.prev.copy(), w.until.copy(), copies.reshape(-1)
        )

    def _step(self, what: int, part: int, phase: int, t: float) -> int:
        return int(step(*self._held, what, part, phase, float(t)))

    # ---- order settle -----------------------------------------------------------------------------
    def settle(self, phase: int, t: float) -> int:
        """Bring everything to rest at time t, fuses included: SETTLED, RACE, CHATTER or NOT_CONVERGED."""
        return self._step(SETTLE, 0, phase, t)

    def commit(self, phase: int, t: float) -> None:
        """Timers take note of the settled state."""
        self._step(COMMIT, 0, phase, t)

    def next_timer(self, after: float, until: float) -> float | None:
        """When the next timer runs out, later than `after` and not later than `until`."""
        due = self.work.until
        coming = due[(due > after + LATE_S) & (due <= until + LATE_S)]
        return float(coming.min()) if coming.size else None

    # ---- order time -------------------------------------------------------------------------------
    def solve(self, phase: int) -> bool:
        """The operating point of the present discrete state."""
        return bool(self._step(SOLVE, 0, phase, 0.0))

    def wanted(self, part: int, phase: int, t: float) -> Bits:
        """The state vector with one part (row of static.parts) as it would be now; nothing else changes.
        A module out of supply forgets its timers."""
        self._step(ADVANCE, part, phase, t)
        return np.array(self.work.new, np.uint8)

    def take_note(self, number: int, phase: int, t: float) -> None:
        """Timers of one module take note of the present state."""
        self._step(NOTE, number, phase, t)

    # ---- what there is ----------------------------------------------------------------------------
    @property
    def volts(self) -> Floats:
        """[node] V, a copy."""
        return self.work.v.copy()  # type: ignore[no-any-return]

    @property
    def amps(self) -> Floats:
        """[branch of the network, then bridges and instrument] A, a copy."""
        return self.work.i.copy()  # type: ignore[no-any-return]
