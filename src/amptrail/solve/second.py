"""A second fault as the few branches it changes: opened, with ohms more, made, added.

Taken from lanes that have it alone, phase by phase, so that what its own relays, modules and fuses switch is
among them. `firstlook` puts them into other lanes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

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
    net: Static, lanes: Lane, phases: Array, runs: Out, g: Array, j: Array, first: int, last: int
) -> None:
    """g[lane, slot, branch] siemens (-1: does not conduct; 0: a law that bends), j the source amperes; the
    last slot is without power."""
    lane = held(lane_of(lanes, first))
    mine = other = home(net, lane)
    made_for = np.full((2, lane.na.size), -1, np.int32)
    for n in range(first, last):
        fetch(lanes, n, lane)
        w, other = ready(net, lane, mine, other, made_for[0], made_for[1])
        for k in range(phases.size + 1):
            if k < phases.size:
                load(net, lane, w, runs, n, k)
                prepare(net, lane, w, phases[k])
            else:
                prepare(net, lane, w, unpowered(net, lane, w, runs, n))
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


def seconds(network: Network, runs: Runs) -> Seconds:
    """The faults of the lanes of `runs` as second faults; the first lane has nothing broken."""
    lane, (lanes, slots) = runs.lanes, runs.status.shape
    g, j = np.zeros((2, lanes, slots + 1, lane.kind.shape[1]))
    net, every, kept = hold(network.static), hold(lane), hold(runs.snapshot)
    phases = np.array(runs.phases, np.int64)
    share(lanes, lambda a, z: _conduct(net, every, phases, kept, g, j, a, z))
    bends = ~np.isin(lane.kind, (laws.NONE, laws.RES, laws.CURRENT))
    moved = ((lane.na != lane.na[0]) | (lane.nb != lane.nb[0])) & (lane.kind[:1] != laws.NONE)
    other_law = bends & ((lane.p != lane.p[0]).any(axis=2) | ~bends[:1])
    odd = (moved | other_law)[:, None] | (bends[:, None] & (g[:1] < 0.0) & (g >= 0.0))
    more = np.where(bends, lane.series - lane.series[0], 0.0)[:, None] + np.zeros((1, slots + 1, 1))
    changed = (g != g[:1]) | (j != j[:1]) | (more > 0.0) | odd
    known = (changed.sum(axis=2) <= MOST) & ~odd.any(axis=2)
    known[:, :slots] &= runs.status < CHATTER
    slot, fault, at = np.nonzero((changed & known[:, :, None]).transpose(1, 0, 2))
    was, now = g[0, slot, at], g[fault, slot, at]
    same = j[fault, slot, at] == j[0, slot, at]
    ohm = more[fault, slot, at]
    stiffer = same & (now > 0.0) & (now < was)
    what = np.select(
        [at >= len(network.branches), now < 0.0, (ohm > 0.0) | stiffer, was < 0.0],
        [ADDED, OPENED, SERIES, MADE],
        SET,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ohm = np.where(what == OPENED, OPEN_OHM, np.where(ohm > 0.0, ohm, 1.0 / now - 1.0 / was))
    ends = np.stack([lane.na[fault, at], lane.nb[fault, at]], axis=1).astype(np.int64)
    ports, port = np.unique(ends, axis=0, return_inverse=True)
    counts = np.where(known, changed.sum(axis=2), 0).T
    first = np.zeros((slots + 1, lanes + 1), np.int64)
    first[:, 1:] = np.cumsum(counts.ravel()).reshape(counts.shape)
    first[1:, 0] = first[:-1, -1]
    return Seconds(
        np.ascontiguousarray(known.T), first, what.astype(np.int64),
        np.where(what == ADDED, -1, at).astype(np.int64), port.reshape(-1).astype(np.int64), now,
        j[fault, slot, at], ohm, ports,
    )  # fmt: skip


__all__ = ["Seconds", "seconds", "unpowered"]
