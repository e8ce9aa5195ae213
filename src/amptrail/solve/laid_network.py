"""The eliminated network of a healthy state with a lane laid over it (compiled).

Nodes stand in the order of elimination, so that all a pivot looks at lies behind it.

A bridge between nodes the plan has no arm for gets a node of its own in its middle, eliminated last: each
pivot on the two ways to the root then has one arm more, to that node, and nothing else changes.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from amptrail.solve.records import Array
from amptrail.solve.stamping import LEAK_S


@njit(cache=True, nogil=True, error_model="numpy")
def summed(
    which: Array, count: int, pivot: Array, start: Array, sign: Array, first: Array, following: Array,
    bg: Array, bj: Array, apart: Array, place: Array, changes: Array, changed_count: int, na: Array,
    nb: Array, own_g: Array, own_j: Array, stale: Array, touched: Array, arms: Array, used: int,
) -> int:  # fmt: skip
    """The arms which[:count] summed again from their branches, those at other nodes where they are now."""
    for n in range(count):
        t = which[n]
        k = pivot[t]
        a = LEAK_S if t == start[k + 1] - 1 else 0.0
        c = 0.0
        e = first[t]
        while e >= 0:
            if bg[e] >= 0.0 and not apart[e]:
                a += bg[e]
                c += sign[e] * bj[e]
            e = following[e]
        for m in range(changed_count):
            e = changes[m]
            if apart[e] and place[e] == t and bg[e] >= 0.0:
                a += bg[e]
                c += bj[e] if na[e] < nb[e] else -bj[e]
        if a != own_g[t] or c != own_j[t]:
            if not touched[t]:
                touched[t] = 1
                arms[used] = t
                used += 1
            own_g[t], own_j[t] = a, c
            stale[k] = 1
    return used


@njit(cache=True, nogil=True, error_model="numpy")
def eliminate(
    start: Array, pair: Array, near: Array, comes: Array, source: Array, own_g: Array, own_j: Array,
    left_g: Array, left_j: Array, g: Array, J: Array, inverse: Array, share: Array, drop: Array, stale: Array,
    gone: Array, pivots: Array, used: int, on_path: Array, far_g: Array, far_j: Array, middle: Array,
) -> int:  # fmt: skip
    """`elimination.forward`, the pivots it goes through noted, with the arms to the middle of a bridge."""
    count = start.size - 1
    words = stale[: count // 8 * 8].view(np.uint64)
    k = -1
    while k < count - 1:
        k += 1
        if k & 7 == 0 and k >> 3 < words.size and words[k >> 3] == 0:
            k += 7
            continue
        if not stale[k]:
            continue
        stale[k] = 0
        if not gone[k]:
            gone[k] = 1
            pivots[used] = k
            used += 1
        lo, hi = start[k], start[k + 1]
        total = emf = 0.0
        moved = False
        for p in range(lo, hi):
            a, c = own_g[p], own_j[p]
            for m in range(comes[p], comes[p + 1]):
                t = source[m]
                a += left_g[t]
                c += left_j[t]
            moved |= a != g[p] or c != J[p]
            g[p], J[p] = a, c
            total += a
            emf += c
        if on_path[k]:
            total += far_g[k]
            emf += far_j[k]
            moved = True
        if not moved:
            continue
        r = 1.0 / total
        inverse[k] = r
        drop[k] = emf * r
        at = pair[k]
        for p in range(lo, hi - 1):
            w, j = g[p] * r, J[p] * r
            share[p] = w
            stale[near[p]] = 1
            for q in range(p + 1, hi):
                left_g[at] = w * g[q]
                left_j[at] = w * J[q] - j * g[q]
                at += 1
        if on_path[k]:
            a, c = far_g[k], far_j[k]
            for p in range(lo, hi - 1):
                w = g[p] * r
                m = near[p]
                far_g[m] += w * a
                far_j[m] += w * c - J[p] * r * a
            middle[0] += a * r * g[hi - 1]
            middle[1] += a * r * J[hi - 1] - c * r * g[hi - 1]
    return used


@njit(cache=True, nogil=True, error_model="numpy")
def pushed_in(
    start: Array, near: Array, share: Array, inverse: Array, s: Array, climb: Array, last: int, na: Array,
    nb: Array, extra: Array, bent: Array, count: int, refs: Array, far_g: Array, middle: Array,
) -> None:  # fmt: skip
    """The amperes `extra` of nonlinear branches and of copied currents on their way through the network; the
    volts of the middle of a bridge."""
    for n in range(last):
        s[climb[n]] = 0.0
    some = False
    for n in range(count):
        b = bent[n]
        if extra[b] != 0.0:
            s[na[b]] -= extra[b]
            s[nb[b]] += extra[b]
            some = True
    for r in range(refs.shape[0]):
        b = refs[r, 1]
        if extra[b] != 0.0:
            s[na[b]] -= extra[b]
            s[nb[b]] += extra[b]
            some = True
    put_in = 0.0
    for n in range(last if some else 0):
        k = climb[n]
        here = s[k]
        if here != 0.0:
            for p in range(start[k], start[k + 1] - 1):
                s[near[p]] += share[p] * here
            here *= inverse[k]
            s[k] = here
            put_in += far_g[k] * here
    if middle[0] > 0.0:
        middle[3] = (put_in - middle[1]) / middle[0]


@njit(cache=True, nogil=True, error_model="numpy")
def volts_of(
    start: Array, near: Array, share: Array, drop: Array, inverse: Array, v: Array, s: Array, some: Array,
    count: int, far_g: Array, far_j: Array, middle: Array,
) -> None:  # fmt: skip
    """Volts of the pivots some[count-1] ... some[0] (all of them: a count of 0), ascending and with all their
    later neighbours among them, with what `pushed_in` left in s."""
    bridged, far_v, every = middle[0] > 0.0, middle[3], count == 0
    for n in range(start.size - 2 if every else count - 1, -1, -1):
        k = n if every else some[n]
        here = s[k] - drop[k]
        if bridged:
            here += far_g[k] * far_v * inverse[k]
        for p in range(start[k], start[k + 1] - 1):
            here += share[p] * v[near[p]]
        v[k] = here
