"""Compiled: what a test may read cut into outcomes a person can tell apart, and the chance of each.

Edges lie in the gaps between predictions, never closer than an instrument can tell; a continuum of
severities is cut where its weight halves. Hundreds of tests a question: in plain arrays a third of its time.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

Array = Any
MOST_CLASSES = 8
APART_SIGMAS = 5.0  # neighbours this far apart are different readings to a person
NO_MASS = 1e-9


@njit(cache=True, nogil=True, error_model="numpy")
def _widest(v: Array, apart: float, cuts: Array) -> int:
    """Cuts in the middle of every gap wider than `apart`, the widest first while there is room; how many."""
    count = 0
    taken = np.zeros(max(v.size - 1, 0), np.uint8)
    while count < cuts.size:
        best = -1
        for i in range(v.size - 1):
            gap = v[i + 1] - v[i]
            if not taken[i] and gap > apart and (best < 0 or gap > v[best + 1] - v[best]):
                best = i
        if best < 0:
            break
        taken[best] = 1
        cuts[count] = (v[best] + v[best + 1]) / 2.0
        count += 1
    cuts[:count].sort()
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def _halved(v: Array, w: Array, apart: float, cuts: Array, count: int) -> int:
    """One cut more at the weighted median of the class that is the widest continuum for its weight; how many
    there are then, the same where no class is wide."""
    best, where = -1.0, 0.0
    first = 0
    for c in range(count + 1):
        last = first
        weight = 0.0
        while last < v.size and (c == count or v[last] < cuts[c]):
            weight += w[last]
            last += 1
        if last > first and v[last - 1] - v[first] > 2.0 * apart:
            spread = (v[last - 1] - v[first]) * weight
            if spread > best:
                best = spread
                reached, at = 0.0, first
                for i in range(first, last):
                    reached += w[i]
                    at = i
                    if reached >= weight / 2.0:
                        break
                where = v[at] + 1e-9
        first = last
    if best < 0.0:
        return count
    at = 0
    while at < count and cuts[at] < where:
        at += 1
    if at < count and cuts[at] == where:
        return count
    for i in range(count, at, -1):
        cuts[i] = cuts[i - 1]
    cuts[at] = where
    return count + 1


@njit(cache=True, nogil=True, error_model="numpy")
def cut(value: Array, weight: Array, belief: Array, sigma: float) -> tuple[Array, Array, Array]:
    """Edges [c + 1] of the classes of value[h, g] (weight[h, g], rows sum to 1; belief[h]; `sigma` of the
    instrument), from minus to plus infinity, and the lowest and highest prediction inside each."""
    hypotheses, grid = value.shape
    v, w = np.empty(value.size), np.empty(value.size)
    n = 0
    for h in range(hypotheses):
        for g in range(grid):
            mass = weight[h, g] * belief[h]
            if mass > NO_MASS:
                v[n], w[n] = value[h, g], mass
                n += 1
    order = np.argsort(v[:n], kind="mergesort")
    v, w = v[:n][order], w[:n][order]
    cuts = np.empty(MOST_CLASSES - 1)
    count = _widest(v, APART_SIGMAS * sigma, cuts)
    while count < cuts.size:
        more = _halved(v, w, APART_SIGMAS * sigma, cuts, count)
        if more == count:
            break
        count = more
    edges = np.empty(count + 2)
    edges[0], edges[count + 1] = -np.inf, np.inf
    for i in range(count):
        edges[i + 1] = cuts[i]
    low, high = np.empty(count + 1), np.empty(count + 1)
    first = 0
    for c in range(count + 1):
        last = first
        while last < n and (c == count or v[last] < cuts[c]):
            last += 1
        if last > first:
            low[c], high[c] = v[first], v[last - 1]
        else:
            low[c] = high[c] = edges[c] if c > 0 else edges[c + 1]
        first = last
    return edges, low, high


@njit(cache=True, nogil=True, error_model="numpy")
def chances(value: Array, weight: Array, spread: float, edges: Array, slip: float) -> Array:
    """P(class)[h, c] of a reading `value` with one sigma `spread` of tolerance and instrument together; a
    share `slip` of readings is of any class."""
    hypotheses, grid = value.shape
    classes = edges.size - 1
    out = np.zeros((hypotheses, classes))
    scale = spread * math.sqrt(2.0)
    for h in range(hypotheses):
        whole = 0.0
        for g in range(grid):
            below = 0.0
            for c in range(classes):
                above = (
                    1.0 if c == classes - 1 else 0.5 * (1.0 + math.erf((edges[c + 1] - value[h, g]) / scale))
                )
                out[h, c] += (above - below) * weight[h, g]
                below = above
        for c in range(classes):
            out[h, c] = min(max(out[h, c], 0.0), 1.0)
            whole += out[h, c]
        for c in range(classes):
            out[h, c] = (1.0 - slip) * out[h, c] / whole + slip / classes
    return out
