"""A lane put over a healthy state, and taken off again (compiled)."""

from __future__ import annotations

from numba import njit

from amptrail.solve.laid import ARMS, BENT, BRIDGED, EVERY, FELT, PATH, PIVOTS, Over, Row
from amptrail.solve.laid_network import put_back, summed
from amptrail.solve.laws import CURRENT, DIODE, NONE, RES
from amptrail.solve.newton import tangent
from amptrail.solve.plain import put, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import FITS, SAME, UNKNOWN, values
from amptrail.solve.trail import Trail


@njit(cache=True, nogil=True, error_model="numpy")
def lay(
    net: Static, base: Lane, lane: Lane, w: Work, row: Row, over: Over, phase: int, changes: Array,
    count: int,
) -> int:  # fmt: skip
    """The branches changes[:count] as the lane has them: how many nonlinear ones conduct now; -1: it is to be
    lived by itself."""
    kinds, na, nb, opened, p, series = lane.kind, lane.na, lane.nb, lane.open, lane.p, lane.series
    rank = w.plan.rank
    kinds0, na0, nb0 = base.kind, base.na, base.nb
    bg, bj, br, bends, bent, some = w.bg, w.bj, w.br, w.bends, w.bent, over.some
    apart, place, n = over.apart, over.place, over.n
    plan, bg0 = w.plan, row.bg
    start, near, edge = plan.start, over.near, plan.edge
    n[ARMS] = n[PIVOTS] = n[PATH] = n[BRIDGED] = n[EVERY] = n[FELT] = 0
    here = 0
    for c in range(count):
        b = changes[c]
        kind = kinds[b]
        if kind == NONE or opened[b]:
            bg[b], bj[b] = -1.0, 0.0
            continue
        if kind != RES and kind != CURRENT:
            if kinds0[b] != kind or na[b] != na0[b] or nb[b] != nb0[b]:
                return -1
            br[b] = series[b] + (p[b, 2] if kind == DIODE else 0.0)
        some[here] = b
        here += 1
    values(net, lane, w, phase, some, whole(here), w.moved)
    curves = n[BENT]
    arms = 0
    for c in range(count):
        b = changes[c]
        kind, kind0 = kinds[b], kinds0[b]
        was = kind0 != NONE and kind0 != RES and kind0 != CURRENT and bg0[b] >= 0.0
        now = kind != NONE and kind != RES and kind != CURRENT and bg[b] >= 0.0
        if was and not now:
            for m in range(curves):
                if bent[m] == b:
                    bent[m] = bent[curves - 1]
                    break
            curves -= 1
        elif now and not was:
            w.x[b] = 0.0
            bent[curves] = b
            curves += 1
        if now:
            bends[b] = UNKNOWN
            n[FELT] = 1
        if na[b] != na0[b] or nb[b] != nb0[b]:
            apart[b], place[b] = 1, -1
            if kind0 != NONE:
                n[EVERY] = 1
            if bg[b] >= 0.0 and na[b] != nb[b]:
                i, j = min(rank[na[b]], rank[nb[b]]), max(rank[na[b]], rank[nb[b]])
                for t in range(start[i], start[i + 1]):
                    if near[t] == j:
                        place[b] = t
                        some[arms] = t
                        arms += 1
                        break
                if place[b] < 0:
                    if n[BRIDGED] or kind != RES or bj[b] != 0.0:
                        return -1
                    n[BRIDGED] = 1
                    over.ends[0], over.ends[1], over.middle[4] = i, j, 2.0 * bg[b]
        if edge[b] >= 0 and (bg0[b] >= 0.0 or not apart[b]):
            some[arms] = edge[b]
            arms += 1
    summed(w, over, row, some, whole(arms), changes, whole(count))
    n[FELT] |= n[BRIDGED] or n[ARMS] > 0
    if n[BRIDGED]:
        _bridge(plan.parent, over.ends, over.on_path, over.path, n)
    return int(curves)


@njit(cache=True, nogil=True)
def _bridge(parent: Array, ends: Array, on_path: Array, path: Array, n: Array) -> None:
    """Mark the pivots from both ends of a bridge to the root."""
    count, last = 0, on_path.size - 1
    for e in ends:
        k = e
        while k < last and not on_path[k]:
            on_path[k] = 1
            path[count] = k
            count += 1
            k = parent[k]
    n[PATH] = count


@njit(cache=True, nogil=True, error_model="numpy")
def taken_off(
    net: Static, w: Work, row: Row, over: Over, changes: Array, changed_count: int
) -> None:  # fmt: skip
    """The row as it was before the lane was put over it."""
    bg, bj, br, x, law_a, law_s, bends, extra, bent = (
        w.bg,
        w.bj,
        w.br,
        w.x,
        w.law_a,
        w.law_s,
        w.bends,
        w.extra,
        w.bent,
    )
    bg0, bj0, br0, x0, la0, ls0, bent0 = row.bg, row.bj, row.br, row.x, row.law_a, row.law_s, row.bent
    n, apart = over.n, over.apart
    for c in range(changed_count):
        b = changes[c]
        bg[b], bj[b], br[b], x[b] = bg0[b], bj0[b], br0[b], x0[b]
        bends[b], extra[b], apart[b] = FITS, 0.0, 0
    for m in range(n[BENT]):
        b = bent0[m]
        bent[m] = b
        bg[b], bj[b], x[b], law_a[b], law_s[b] = bg0[b], bj0[b], x0[b], la0[b], ls0[b]
        bends[b], extra[b] = FITS, 0.0
    for r in range(net.refs.shape[0]):
        b = net.refs[r, 1]
        bg[b], bj[b], extra[b] = bg0[b], bj0[b], 0.0
    own_g, own_j, touched, arms, og, oj = w.own_g, w.own_j, over.touched, over.arms, row.own_g, row.own_j
    for m in range(n[ARMS]):
        t = arms[m]
        touched[t] = 0
        own_g[t], own_j[t] = og[t], oj[t]
    gone, pivots = over.gone, over.pivots
    for m in range(n[PIVOTS]):
        gone[pivots[m]] = 0
        put_back(w, over, row, whole(pivots[m]))
    if n[BRIDGED]:
        for m in range(n[PATH]):
            k = over.path[m]
            over.on_path[k] = 0
            over.far_g[k] = over.far_j[k] = 0.0
        over.middle[:] = 0.0
    w.stale[:] = 0


@njit(cache=True, nogil=True, error_model="numpy")
def based(net: Static, lane: Lane, w: Work, row: Row, over: Over, trail: Trail, number: int) -> None:
    """Row `number` of the trail eliminated at its solution, to which the volts are one Newton step more."""
    phase = trail.phase[number]
    put(w.state, trail.state[number])
    put(w.x, trail.x[number])
    for r in range(net.refs.shape[0]):
        lane.p[net.refs[r, 1], 0] = row.copies[r] = trail.copies[number, r]
    w.known[SAME] = 0
    over.n[BENT] = tangent(net, lane, w, phase)
    w.bends[:] = FITS
    w.extra[:] = 0.0
    start, inverse, share, drop, ohm = w.plan.start, w.inverse, over.share, over.drop, over.ohm
    for k in range(net.nodes):
        over.v[over.at[k]] = w.v[k]
    for place in range(1, net.nodes):
        k, emf, to_share = over.whose[place], 0.0, over.first[place] - start[over.whose[place]]
        for t in range(start[k], start[k + 1]):
            emf += w.J[t]
            if t < start[k + 1] - 1:
                share[to_share + t] = w.g[t] * inverse[k]
        drop[place], ohm[place] = emf * inverse[k], inverse[k]
    for to, from_ in (
        (row.v, over.v), (row.i, w.i), (row.x, w.x), (row.law_a, w.law_a), (row.law_s, w.law_s),
        (row.bg, w.bg), (row.bj, w.bj), (row.br, w.br),
    ):  # fmt: skip
        put(to, from_)
    put(row.bent, w.bent)
