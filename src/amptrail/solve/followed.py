"""How far lanes come with the healthy vehicle, worked out over its solutions (`overlay`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from amptrail.solve.held import hold
from amptrail.solve.kernel import Out
from amptrail.solve.network import Network
from amptrail.solve.overlay import lay_lanes
from amptrail.solve.records import Lane
from amptrail.solve.threads import share
from amptrail.solve.trail import CLEAN, FILLED, LIVED, Trail

PIECES_A_THREAD = 1  # each eliminates the healthy network of every state once


@dataclass(frozen=True, eq=False)
class Followed:
    """Results so far, and where each lane is to be lived on by itself."""

    out: Out
    same: npt.NDArray[np.bool_]  # [lane] as the healthy one to the last bit
    leaves: npt.NDArray[np.int64]  # [lane] from this step on; as many as there are steps: not at all
    copied: npt.NDArray[np.float64]  # [lane, pass, reference] A copied when the pass began


@dataclass(frozen=True)
class _Walk:
    """The healthy drive cycle: at rest in row ends[k] at the end of step k, as far as it is clean."""

    ends: tuple[int, ...]
    visits: dict[int, list[int]]  # steps that end in a phase slot that is kept, by slot

    def before(self, slot: int, step: int) -> int:
        """The last step before `step` whose end is kept in `slot`; -1: none."""
        return max((k for k in self.visits[slot] if k < step), default=-1)


def nothing_followed(out: Out, passes: int) -> Followed:
    """Every lane lived by itself from the first step."""
    lanes, refs = out.copies.shape[0], out.copies.shape[2]
    none = np.zeros(lanes, np.bool_)
    return Followed(out, none, np.zeros(lanes, np.int64), np.zeros((lanes, passes, refs)))


def follow_all(
    network: Network,
    lanes: Lane,
    into: list[int],
    starts: list[int],
    out: Out,
    healthy: tuple[Lane, Out],
    trail: Trail,
    same: npt.NDArray[np.bool_],
    by_itself: bool,
) -> Followed:
    """Lanes over the healthy solutions for as long as nothing in them switches otherwise.

    into[k]: the slot step k is kept in, -1: none; `starts`: the steps at which passes begin. `healthy`: the
    healthy lane and what it came through. `same`: lanes that are as it is to the last bit. `by_itself`: every
    other lane is."""
    lived, clean, steps = int(trail.at[LIVED]), 0 if by_itself else int(trail.at[CLEAN]), len(into)
    ends = tuple(int(trail.ends[k]) for k in range(min(lived, clean)))
    visits: dict[int, list[int]] = {}
    for k in range(len(ends)):
        if into[k] >= 0:
            visits.setdefault(into[k], []).append(k)
    walk = _Walk(ends, visits)
    slots = np.full(trail.phase.size, -1, np.int64)
    for slot, ks in visits.items():
        slots[ends[ks[-1]]] = slot
    rows = np.array([r for r in range(trail.at[FILLED]) if trail.step[r] < len(ends)], np.int64)
    begins = np.array([ends[s - 1] if 0 < s <= len(ends) else -1 for s in starts], np.int64)
    done = nothing_followed(out, len(starts))
    done.same[:] = same
    leaves = done.leaves
    leaves[~same] = len(ends)
    opened = np.full(len(leaves), -1, np.int64)
    static, base, every = hold(network.static), hold(healthy[0]), hold(lanes)
    along, to = hold(trail), hold(out)

    def lay(which: npt.NDArray[np.intp], last_pass: int) -> None:
        def piece(first: int, last: int) -> None:
            lay_lanes(
                static, base, every, along, rows, slots, to, begins, done.copied, leaves, opened, last_pass,
                which, first, last,
            )  # fmt: skip

        if len(which) and len(rows):
            share(len(which), piece, PIECES_A_THREAD)

    lay(np.flatnonzero(~same), starts[-1] if starts and clean >= lived else 0)
    burnt = np.flatnonzero(opened >= 0)
    leaves[burnt] = len(ends)
    lay(burnt, 0)
    whole = same | (leaves >= lived)
    if any(len({ends[k] for k in ks}) > 1 for ks in visits.values()):
        leaves[~whole] = 0  # what a phase ended as the time before is not kept
    for first in np.unique(leaves[~whole]):
        _keep(out, walk, trail, np.flatnonzero(~whole & (leaves == first)), int(first))
    leaves[whole] = steps
    for name in ("status", "state", "prev", "until", "time"):
        _repeat(getattr(out, name), getattr(healthy[1], name), whole)
    burnt = np.flatnonzero(opened >= 0)
    out.state[burnt, :, network.static.at[5] + opened[burnt]] = 1
    for name in ("volts", "amps", "x") if same.any() else ():
        getattr(out, name)[same] = getattr(healthy[1], name)[0]
    for name in ("copies", "low", "high", "toured", "raced", "other", "counts"):
        _repeat(getattr(out, name), getattr(healthy[1], name), same)
    return done


def _repeat(
    to: npt.NDArray[np.generic], from_: npt.NDArray[np.generic], which: npt.NDArray[np.bool_]
) -> None:
    """The healthy lane's values for other lanes; where they are zeros nothing is to be done."""
    if which.any() and from_.any():
        to[which] = from_[0]


def _keep(out: Out, walk: _Walk, trail: Trail, lanes: npt.NDArray[np.intp], step: int) -> None:
    """What phases ended as before `step`, which is as in the healthy vehicle."""
    for slot in walk.visits:
        k = walk.before(slot, step) + 1
        if k > 0:
            out.state[lanes, slot] = trail.state_at[k]
            out.prev[lanes, slot] = trail.prev_at[k]
            out.until[lanes, slot] = trail.until_at[k]
            out.time[lanes, slot] = trail.time_at[k]
