"""A second fault as the few branches it changes: opened, with ohms more, made, added.

Taken from lanes that have it alone, phase by phase, so that what its own relays, modules and fuses switch is
among them. `firstlook` puts them into other lanes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray

from amptrail.solve import laws
from amptrail.solve.held import held, hold
from amptrail.solve.kernel import Out, fetch, home, lane_of, load, ready
from amptrail.solve.network import Network
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.runs import Runs
from amptrail.solve.settle import CHATTER
from amptrail.solve.stamping import prepare
from amptrail.solve.threads import share

MOST = 6  # branches one fault may change; of one that changes more there is no first look
OPEN_OHM = 1e12
CHUNK = 512  # lanes looked at together: 12 MB a hundred branches
# OPENED and SERIES count where the branch conducts, MADE where it does not, SET where it does, ADDED always
OPENED, SERIES, MADE, SET, ADDED = range(5)


@njit(cache=True, nogil=True, error_model="numpy")
def unpowered(net: Static, lane: Lane, w: Work, runs: Out, n: int) -> int:
    """Lane n as an ohmmeter finds it: battery and charger away, modules dead, fuses as they were at the end.
    Returns the phase to solve. The private lane is to be fetched again afterwards."""
    load(net, lane, w, runs, n, runs.state.shape[1] - 1)
    lane.module[:] = 2
    w.x[:] = 0.0
    for k in range(w.state.size):
        if not net.at[5] <= k < net.at[6]:
            w.state[k] = 0
    for d in range(lane.driver.size):
        w.state[net.at[3] + d] = 1 if lane.driver[d] == 1 else 0
    return int(net.closed.shape[0] - 1)


@njit(cache=True, nogil=True, error_model="numpy")
def _conduct(
    net: Static, lanes: Lane, which: Array, phases: Array, runs: Out, g: Array, j: Array, first: int,
    last: int,
) -> None:  # fmt: skip
    """g[n, slot, branch] siemens of lane which[n] (-1: does not conduct; 0: a law that bends), j the source
    amperes; the last slot is without power."""
    lane = held(lane_of(lanes, which[first]))
    mine = other = home(net, lane)
    made_for = np.full((2, lane.na.size), -1, np.int32)
    for n in range(first, last):
        fetch(lanes, which[n], lane)
        w, other = ready(net, lane, mine, other, made_for[0], made_for[1])
        for k in range(phases.size + 1):
            if k < phases.size:
                load(net, lane, w, runs, which[n], k)
                prepare(net, lane, w, phases[k])
            else:
                prepare(net, lane, w, unpowered(net, lane, w, runs, which[n]))
            for b in range(w.bg.size):
                bends = lane.kind[b] != laws.RES and lane.kind[b] != laws.CURRENT
                g[n, k, b] = 0.0 if bends and w.bg[b] >= 0.0 else w.bg[b]
                j[n, k, b] = 0.0 if bends else w.bj[b]


@dataclass(frozen=True, eq=False)
class Seconds:
    """Second faults as changed branches, slot by slot (phases of the runs, then without power).

    Rows first[slot, fault] to first[slot, fault + 1] of: what (OPENED ... ADDED), branch (-1: a new one),
    port (row of `ports`: its nodes), g and j (S and A of a branch made, set or added), ohm (in series). A
    fault that changes more than MOST branches, or one in a way not understood, is not known[slot, fault]."""

    known: np.ndarray
    first: np.ndarray
    what: np.ndarray
    branch: np.ndarray
    port: np.ndarray
    g: np.ndarray
    j: np.ndarray
    ohm: np.ndarray
    ports: np.ndarray

    @cached_property
    def together(self) -> np.ndarray:
        """[slot, port] 1 where a fault changes this port alone, 2 where one changes others with it."""
        out = np.zeros((self.first.shape[0], len(self.ports)), np.uint8)
        many = np.diff(self.first, axis=1)
        for k in range(len(out)):
            rows = slice(self.first[k, 0], self.first[k, -1])
            np.maximum.at(
                out[k], self.port[rows], np.repeat(np.minimum(many[k], 2), many[k]).astype(np.uint8)
            )
        return out


def seconds(network: Network, runs: Runs, which: NDArray[np.intp]) -> Seconds:
    """The faults of lanes `which` of `runs` as second faults; the first of them has nothing broken."""
    slots, parts = runs.status.shape[1] + 1, []
    well = _Conducting(network, runs, which[:1])
    for k in range(0, len(which), CHUNK):
        parts.append(_changed(network, runs, which[k : k + CHUNK], well, k))
    known = np.concatenate([p[0] for p in parts])
    rows = np.concatenate([p[1] for p in parts])
    rows = rows[np.lexsort((rows["branch"], rows["fault"], rows["slot"]))]
    counts = np.zeros((slots, len(which)), np.int64)
    np.add.at(counts, (rows["slot"], rows["fault"]), 1)
    first = np.zeros((slots, len(which) + 1), np.int64)
    first[:, 1:] = np.cumsum(counts.ravel()).reshape(counts.shape)
    first[1:, 0] = first[:-1, -1]
    ports, port = np.unique(rows["ends"].reshape(-1, 2), axis=0, return_inverse=True)
    what, branch, g, j, ohm = (np.ascontiguousarray(rows[x]) for x in ("what", "branch", "g", "j", "ohm"))
    port = port.reshape(-1).astype(np.int64)
    return Seconds(np.ascontiguousarray(known.T), first, what, branch, port, g, j, ohm, ports)


class _Conducting:
    """Lanes and what each of their branches conducts: g, j [lane, slot, branch]."""

    def __init__(self, network: Network, runs: Runs, which: NDArray[np.intp]) -> None:
        self.lane = lane = Lane(*(a[which] for a in runs.lanes))
        self.g, self.j = g, j = np.zeros((2, len(which), runs.status.shape[1] + 1, lane.kind.shape[1]))
        self.bends = ~np.isin(lane.kind, (laws.NONE, laws.RES, laws.CURRENT))
        net, every, kept = hold(network.static), hold(runs.lanes), hold(runs.snapshot)
        phases = np.array(runs.phases, np.int64)
        share(len(which), lambda a, z: _conduct(net, every, which, phases, kept, g, j, a, z))


ROW = np.dtype(
    [
        ("slot", np.int64), ("fault", np.int64), ("what", np.int64), ("branch", np.int64),
        ("ends", np.int64, 2), ("g", np.float64), ("j", np.float64), ("ohm", np.float64),
    ]
)  # fmt: skip


def _changed(
    network: Network, runs: Runs, which: NDArray[np.intp], well: _Conducting, number: int
) -> tuple[NDArray[np.bool_], np.ndarray]:
    """(known[lane, slot], a row for each branch changed beside the healthy lane `well`) of lanes `which`, the
    first of them fault `number`."""
    now = _Conducting(network, runs, which)
    lane, base, bends = now.lane, well.lane, now.bends
    moved = ((lane.na != base.na) | (lane.nb != base.nb)) & (base.kind != laws.NONE)
    other_law = bends & ((lane.p != base.p).any(axis=2) | ~well.bends)
    odd = (moved | other_law)[:, None] | (bends[:, None] & (well.g < 0.0) & (now.g >= 0.0))
    more = np.where(bends, lane.series - base.series, 0.0)
    changed = (now.g != well.g) | (now.j != well.j) | (more > 0.0)[:, None] | odd
    known = (changed.sum(axis=2) <= MOST) & ~odd.any(axis=2)
    known[:, :-1] &= runs.status[which] < CHATTER
    fault, slot, at = np.nonzero(changed & known[:, :, None])
    out = np.zeros(len(at), ROW)
    out["slot"], out["fault"] = slot, fault + number
    was, g, ohm = well.g[0, slot, at], now.g[fault, slot, at], more[fault, at]
    out["g"], out["j"] = g, now.j[fault, slot, at]
    stiffer = (out["j"] == well.j[0, slot, at]) & (g > 0.0) & (g < was)
    out["what"] = np.select(
        [at >= len(network.branches), g < 0.0, (ohm > 0.0) | stiffer, was < 0.0],
        [ADDED, OPENED, SERIES, MADE],
        SET,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        out["ohm"] = np.where(out["what"] == OPENED, OPEN_OHM, np.where(ohm > 0.0, ohm, 1.0 / g - 1.0 / was))
    out["branch"] = np.where(out["what"] == ADDED, -1, at)
    out["ends"] = np.stack([lane.na[fault, at], lane.nb[fault, at]], axis=1)
    return known, out


__all__ = ["Seconds", "seconds", "unpowered"]
