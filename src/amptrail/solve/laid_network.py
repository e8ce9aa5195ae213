"""The eliminated network of a healthy state with a lane laid over it (compiled).

Nodes stand in places (`laid.Over`), so that all a pivot looks at lies before it.

A bridge between nodes the plan has no arm for gets a node of its own in its middle, eliminated last: each
pivot on the two ways to the root then has one arm more, to that node, and nothing else changes.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from amptrail.solve.laid import ARMS, PIVOTS, Over, Row
from amptrail.solve.plain import whole
from amptrail.solve.records import Array, Work
from amptrail.solve.stamping import LEAK_S


@njit(cache=True, nogil=True, error_model="numpy")
def summed(
    w: Work, over: Over, row: Row, which: Array, count: int, changes: Array, changed_count: int
) -> None:
    """The arms which[:count] summed again from their branches, those at other nodes where they are now."""
    pivot, start, sign, first, following = over.pivot, w.plan.start, w.plan.sign, w.first, w.following
    bg, bj, apart, place, na, nb = w.bg, w.bj, over.apart, over.place, over.na, over.nb
    own_g, own_j, stale, touched, arms = w.own_g, w.own_j, w.stale, over.touched, over.arms
    used = over.n[ARMS]
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
                c += bj[e] if na[e] > nb[e] else -bj[e]  # what is eliminated sooner stands behind
        if a != own_g[t] or c != own_j[t]:
            if not touched[t]:
                touched[t] = 1
                row.own_g[t], row.own_j[t] = own_g[t], own_j[t]
                arms[used] = t
                used += 1
            own_g[t], own_j[t] = a, c
            stale[k] = 1
    over.n[ARMS] = used


@njit(cache=True, nogil=True, error_model="numpy")
def _kept(w: Work, over: Over, row: Row, k: int) -> None:
    """Pivot k as it stands put aside."""
    start, pair, place = w.plan.start, w.plan.pair, over.at[w.plan.order[k]]
    row.inverse[k], row.drop[place], row.ohm[place] = w.inverse[k], over.drop[place], over.ohm[place]
    g, J, g0, J0 = w.g, w.J, row.g, row.J
    for t in range(start[k], start[k + 1]):
        g0[t], J0[t] = g[t], J[t]
    share, share0 = over.share, row.share
    for t in range(over.first[place], over.first[place + 1]):
        share0[t] = share[t]
    left_g, left_j, left_g0, left_j0 = w.left_g, w.left_j, row.left_g, row.left_j
    for t in range(pair[k], pair[k + 1]):
        left_g0[t], left_j0[t] = left_g[t], left_j[t]


@njit(cache=True, nogil=True, error_model="numpy")
def put_back(w: Work, over: Over, row: Row, k: int) -> None:
    """Pivot k as it was before."""
    start, pair, place = w.plan.start, w.plan.pair, over.at[w.plan.order[k]]
    w.inverse[k], over.drop[place], over.ohm[place] = row.inverse[k], row.drop[place], row.ohm[place]
    g, J, g0, J0 = w.g, w.J, row.g, row.J
    for t in range(start[k], start[k + 1]):
        g[t], J[t] = g0[t], J0[t]
    share, share0 = over.share, row.share
    for t in range(over.first[place], over.first[place + 1]):
        share[t] = share0[t]
    left_g, left_j, left_g0, left_j0 = w.left_g, w.left_j, row.left_g, row.left_j
    for t in range(pair[k], pair[k + 1]):
        left_g[t], left_j[t] = left_g0[t], left_j0[t]


@njit(cache=True, nogil=True, error_model="numpy")
def eliminate(w: Work, over: Over, row: Row) -> None:
    """`elimination.forward`, the pivots it goes through noted and put aside, with the arms to the middle of a
    bridge."""
    plan, own_g, own_j, left_g, left_j, g, J = w.plan, w.own_g, w.own_j, w.left_g, w.left_j, w.g, w.J
    start, pair, comes, source, order = plan.start, plan.pair, plan.comes, plan.source, plan.order
    near, at_node, first, share, drop, ohm = over.near, over.at, over.first, over.share, over.drop, over.ohm
    inverse, stale, gone, pivots, on_path = w.inverse, w.stale, over.gone, over.pivots, over.on_path
    far_g, far_j, middle, used = over.far_g, over.far_j, over.middle, over.n[PIVOTS]
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
            _kept(w, over, row, whole(k))
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
        place = at_node[order[k]]
        drop[place], ohm[place] = emf * r, r
        here = first[place] - lo
        at = pair[k]
        for p in range(lo, hi - 1):
            part, j = g[p] * r, J[p] * r
            share[here + p] = part
            stale[near[p]] = 1
            for q in range(p + 1, hi):
                left_g[at] = part * g[q]
                left_j[at] = part * J[q] - j * g[q]
                at += 1
        if on_path[k]:
            a, c = far_g[k], far_j[k]
            for p in range(lo, hi - 1):
                part = g[p] * r
                m = near[p]
                far_g[m] += part * a
                far_j[m] += part * c - J[p] * r * a
            middle[0] += a * r * g[hi - 1]
            middle[1] += a * r * J[hi - 1] - c * r * g[hi - 1]
    over.n[PIVOTS] = used


@njit(cache=True, nogil=True, error_model="numpy")
def pushed_in(
    first: Array, before: Array, share: Array, ohm: Array, whose: Array, s: Array, last: int, na: Array,
    nb: Array, extra: Array, bent: Array, count: int, refs: Array, far_g: Array, middle: Array,
) -> None:  # fmt: skip
    """The amperes `extra` of nonlinear branches and of copied currents on their way through the places up to
    `last`, left there as volts; the volts of the middle of a bridge."""
    for i in range(last + 1):
        s[i] = 0.0
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
    put_in, bridged = 0.0, middle[0] > 0.0
    for i in range(last if some else 0, 0, -1):
        here = s[i]
        if here != 0.0:
            for p in range(first[i], first[i + 1]):
                s[before[p]] += share[p] * here
            here *= ohm[i]
            s[i] = here
            if bridged:
                put_in += far_g[whose[i]] * here
    s[0] = 0.0
    if bridged:
        middle[3] = (put_in - middle[1]) / middle[0]


@njit(cache=True, nogil=True, error_model="numpy")
def volts_of(
    first: Array, before: Array, share: Array, drop: Array, ohm: Array, whose: Array, v: Array, s: Array,
    from_: int, last: int, far_g: Array, far_j: Array, middle: Array,
) -> None:  # fmt: skip
    """Volts of the places after `from_` (where they are known) to `last`, with what `pushed_in` left in s."""
    if middle[0] > 0.0:
        far_v = middle[3]
        for i in range(from_ + 1, last + 1):
            k = whose[i]
            here = s[i] - drop[i] + far_g[k] * far_v * ohm[i]
            for p in range(first[i], first[i + 1]):
                here += share[p] * v[before[p]]
            v[i] = here
        return
    for i in range(from_ + 1, last + 1):
        here = s[i] - drop[i]
        for p in range(first[i], first[i + 1]):
            here += share[p] * v[before[p]]
        v[i] = here
