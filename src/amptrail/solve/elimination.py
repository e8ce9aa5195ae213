"""Star-mesh elimination with branch emfs (compiled).

An edge lo->hi holds g (siemens) and J = g*emf (amperes): current lo->hi = g*(v_lo - v_hi) + J. Conductances
are only added, multiplied and divided; sources stay in edges, which keeps floating clusters exact.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

Array = Any


@njit(cache=True, nogil=True)
def symbolic(
    nodes: int, ground: int, na: Array, nb: Array, slot: Array, order: Array, start: Array, near: Array
) -> int:
    """Minimum-degree order (ties: lowest node). Fills slot[i, j] (edge number, -1 none), `order` (pivots),
    `start`/`near` (neighbours of each pivot, ascending). Returns the number of edges, -1: `near` is full."""
    slot[:, :] = -1
    edges = 0
    degree = np.zeros(nodes, np.int64)
    done = np.zeros(nodes, np.bool_)
    for n in range(nodes):
        if n != ground:
            slot[n, ground] = slot[ground, n] = edges
            edges += 1
            degree[n] += 1
    for b in range(na.size):
        i, j = na[b], nb[b]
        if i != j and slot[i, j] < 0:
            slot[i, j] = slot[j, i] = edges
            edges += 1
            if i != ground:
                degree[i] += 1
            if j != ground:
                degree[j] += 1
    used = 0
    done[ground] = True
    for k in range(nodes - 1):
        best = -1
        for n in range(nodes):
            if not done[n] and (best < 0 or degree[n] < degree[best]):
                best = n
        done[best] = True
        order[k] = best
        start[k] = used
        for n in range(nodes):
            if slot[best, n] >= 0 and (not done[n] or n == ground):
                if used >= near.size:
                    return -1
                near[used] = n
                used += 1
        for p in range(start[k], used):
            i = near[p]
            degree[i] -= 1
            for q in range(p + 1, used):
                j = near[q]
                if slot[i, j] < 0:
                    slot[i, j] = slot[j, i] = edges
                    edges += 1
                    degree[i] += 1
                    degree[j] += 1
    start[nodes - 1] = used
    return edges


@njit(cache=True, nogil=True, error_model="numpy")
def eliminate(
    nodes: int,
    ground: int,
    slot: Array,
    order: Array,
    start: Array,
    near: Array,
    g: Array,
    J: Array,
    v: Array,
) -> None:
    """Solve for v (volts, v[ground] = 0) from the edges g, J, which are overwritten."""
    for k in range(nodes - 1):
        n = order[k]
        lo, hi = start[k], start[k + 1]
        total = 0.0
        for p in range(lo, hi):
            total += g[slot[n, near[p]]]
        for p in range(lo, hi):
            i = near[p]
            a = slot[n, i]
            gi = g[a]
            if gi == 0.0 and J[a] == 0.0:
                continue
            wi = gi / total
            ji = (J[a] if n < i else -J[a]) / total
            for q in range(p + 1, hi):
                j = near[q]
                c = slot[n, j]
                t = slot[i, j]
                g[t] += wi * g[c]
                J[t] += wi * (J[c] if n < j else -J[c]) - ji * g[c]
    v[ground] = 0.0
    for k in range(nodes - 2, -1, -1):
        n = order[k]
        total = 0.0
        push = 0.0
        for p in range(start[k], start[k + 1]):
            i = near[p]
            a = slot[n, i]
            total += g[a]
            push += g[a] * v[i] - (J[a] if n < i else -J[a])
        v[n] = push / total
