"""The same frozen operating points with general linear algebra, and how fast this memory is.

The peers take the kernel's own laws, tangents and test of being done; only the linear system of a Newton
step is solved by another library: scipy's sparse LU point by point, numpy's dense one for batches.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from amptrail.solve.held import held, hold
from amptrail.solve.kernel import lane_of, workspace
from amptrail.solve.newton import LEFT, LEFT_A, MOVED_V, NEXT_MOVE_V, ROUNDED_A, judge
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import LEAK_S, MISSES, prepare, stamp
from benchmarks.points import Points

MOST_SWEEPS = 60
BATCH_BYTES = 400_000_000  # of dense matrices at once
MEMORY_BYTES = 256_000_000


@njit(cache=False)
def _begin(net: Static, lanes: Lane, n: int, state: Array, phase: int) -> tuple[Lane, Work, int]:
    lane = held(lane_of(lanes, n))
    w = held(workspace(net, lane))
    w.state[:] = state
    count = prepare(net, lane, w, phase)
    stamp(lane, w, count, True)
    return lane, w, count


@njit(cache=False)
def _take(lane: Lane, w: Work, count: int, v: Array) -> bool:
    """The next tangents from node volts v; whether this was the last step."""
    moved, bound, mismatch, biggest = judge(
        lane.kind, lane.na, lane.nb, lane.p, v, w.x, w.br, w.bg, w.bj, w.extra, w.law_a, w.law_s, w.bends,
        w.bent, count,
    )  # fmt: skip
    w.bends[:] = MISSES
    stamp(lane, w, count, False)
    return mismatch < LEFT_A + LEFT * biggest and (bound < NEXT_MOVE_V or moved < MOVED_V)


@njit(cache=False)
def _copied(net: Static, lane: Lane, w: Work, phase: int, v: Array) -> bool:
    """Hand the current of every reference to its copy at the supply; whether all were there already."""
    there = True
    for r in range(net.refs.shape[0]):
        b, copy = net.refs[r, 0], net.refs[r, 1]
        amps = w.bg[b] * (v[lane.na[b]] - v[lane.nb[b]]) + w.bj[b] if w.bg[b] >= 0.0 else 0.0
        there &= abs(amps - lane.p[copy, 0]) < ROUNDED_A
        lane.p[copy, 0] = amps
    prepare(net, lane, w, phase)
    return there


@njit(cache=False)
def _conducts(w: Work, g: Array, j: Array) -> None:
    for b in range(w.bg.size):
        g[b] = max(w.bg[b], 0.0)
        j[b] = w.bj[b] if w.bg[b] >= 0.0 else 0.0


@dataclass
class _One:
    """A point in the middle of Newton."""

    lane: Any
    work: Any
    count: int
    g: np.ndarray
    j: np.ndarray

    def done(self, net: Any, phase: int, v: np.ndarray) -> bool:
        """Whether v is the answer: no law and no copied current asks for another step."""
        return bool(_take(self.lane, self.work, self.count, v)) and bool(
            _copied(net, self.lane, self.work, phase, v)
        )


def _started(work: Points) -> list[_One]:
    net, lanes = hold(work.net.static), hold(work.lanes)
    size = work.lanes.kind.shape[1]
    out = []
    for n in range(len(work)):
        lane, w, count = _begin(net, lanes, n, work.state[n], int(work.phase[n]))
        out.append(_One(lane, w, count, np.zeros(size), np.zeros(size)))
    return out


def _system(work: Points, n: int, p: _One) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(rows, columns, values) of the matrix and the right side of point n, ground left in at its place."""
    _conducts(p.work, p.g, p.j)
    a, b, nodes = work.lanes.na[n], work.lanes.nb[n], work.net.static.nodes
    every = np.arange(nodes)
    rows = np.concatenate([a, b, a, b, every])
    columns = np.concatenate([a, b, b, a, every])
    values = np.concatenate([p.g, p.g, -p.g, -p.g, np.full(nodes, LEAK_S)])
    right = np.bincount(b, p.j, nodes) - np.bincount(a, p.j, nodes)
    return rows, columns, values, right


def sparse(work: Points) -> np.ndarray:
    """[point, node] volts by a sparse LU a Newton step."""
    nodes, ground = work.net.static.nodes, work.net.static.ground
    keep = np.flatnonzero(np.arange(nodes) != ground)
    volts, net = np.zeros((len(work), nodes)), hold(work.net.static)
    for n, p in enumerate(_started(work)):
        for _ in range(MOST_SWEEPS):
            rows, columns, values, right = _system(work, n, p)
            matrix = csc_matrix((values, (rows, columns)), shape=(nodes, nodes))
            volts[n, keep] = splu(matrix[keep][:, keep].tocsc()).solve(right[keep])
            if p.done(net, int(work.phase[n]), volts[n]):
                break
    return volts


def dense(work: Points) -> np.ndarray:
    """[point, node] volts by a batch of dense systems a Newton step, points that are done left out."""
    nodes, ground = work.net.static.nodes, work.net.static.ground
    keep = np.flatnonzero(np.arange(nodes) != ground)
    volts = np.zeros((len(work), nodes))
    at_once = max(1, BATCH_BYTES // (16 * nodes * nodes))
    points, net = _started(work), hold(work.net.static)
    for first in range(0, len(work), at_once):
        left = list(range(first, min(first + at_once, len(work))))
        for _ in range(MOST_SWEEPS):
            matrix, right = np.zeros((len(left), nodes, nodes)), np.zeros((len(left), nodes))
            for k, n in enumerate(left):
                rows, columns, values, right[k] = _system(work, n, points[n])
                np.add.at(matrix[k], (rows, columns), values)
            got = np.linalg.solve(matrix[:, keep][:, :, keep], right[:, keep, None])[:, :, 0]
            volts[np.ix_(np.asarray(left, np.intp), keep)] = got
            left = [n for n in left if not points[n].done(net, int(work.phase[n]), volts[n])]
            if not left:
                break
    return volts


def memory_gb_s() -> float:
    """Bytes read and written a second by a large copy, best of five."""
    a = np.zeros(MEMORY_BYTES // 8)
    b = np.ones_like(a)
    best = 0.0
    for _ in range(5):
        start = time.perf_counter()
        np.copyto(a, b)
        best = max(best, 2 * a.nbytes / (time.perf_counter() - start))
    return best / 1e9
