"""Lanes laid over the healthy vehicle's solutions, state by state (compiled).

While a lane's relays, modules, drivers and fuses do just what the healthy ones do, it comes through the same
states at the same times, and only volts and amperes differ. So the healthy network of each state is
eliminated once and every lane put over it: the arms its own changes and tangents reach are eliminated again
and put back afterwards. What switches next is not worked out but compared: each threshold has to be on the
side the healthy one is on, by more than the solution may be off. A lane that departs from the healthy states
is lived on by itself from the step in which it does (`kernel.run_lanes`).
"""

from __future__ import annotations

import numpy as np
from numba import njit

from amptrail.solve.held import held
from amptrail.solve.kernel import Out, lane_of, workspace
from amptrail.solve.laid import (
    ARMS,
    BENT,
    BRIDGED,
    EVERY,
    FELT,
    PATH,
    PIVOTS,
    Over,
    Row,
    blank_row,
    changed,
    else_alike,
    patched,
    scratch,
    unbranched,
    viewed,
)  # fmt: skip
from amptrail.solve.laid_network import summed, volts_of
from amptrail.solve.laid_newton import found
from amptrail.solve.laws import CURRENT, DIODE, NONE, RES
from amptrail.solve.margins import agrees, margins
from amptrail.solve.newton import (
    LEFT,
    LEFT_A,
    NEXT_MOVE_V,
    ROOM,
    ROUNDED_A,
    again,
    currents,
    leftover,
    tangent,
)
from amptrail.solve.plain import put, truth, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import CLIMB, FITS, SAME, UNKNOWN, climbing, values
from amptrail.solve.trail import Trail

MOST_CHANGED = 64  # branches a lane may change; more of them and it is lived by itself


@njit(cache=True, nogil=True, error_model="numpy")
def _lay(
    net: Static, base: Lane, lane: Lane, w: Work, row: Row, over: Over, phase: int, changes: Array,
    count: int,
) -> int:  # fmt: skip
    """The branches changes[:count] as the lane has them: how many nonlinear ones conduct now; -1: it is to be
    lived by itself."""
    kinds, na, nb, opened, p, series = lane.kind, lane.na, lane.nb, lane.open, lane.p, lane.series
    ra, rb = over.na, over.nb
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
                i, j = min(ra[b], rb[b]), max(ra[b], rb[b])
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
    n[ARMS] = summed(
        some, whole(arms), over.pivot, start, plan.sign, w.first, w.following, bg, bj, apart, place, changes,
        whole(count), ra, rb, w.own_g, w.own_j, w.stale, over.touched, over.arms, whole(0),
    )  # fmt: skip
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
def _taken_off(
    net: Static, base: Lane, lane: Lane, w: Work, row: Row, over: Over, changes: Array, changed_count: int
) -> None:
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
    patched(base, lane, over, w.plan.rank, changes, changed_count)
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
    start, pair, g, J, inverse, left_g, left_j = (
        w.plan.start,
        w.plan.pair,
        w.g,
        w.J,
        w.inverse,
        w.left_g,
        w.left_j,
    )
    g0, J0, inverse0, lg, lj, gone, pivots = (
        row.g,
        row.J,
        row.inverse,
        row.left_g,
        row.left_j,
        over.gone,
        over.pivots,
    )
    share, drop, share0, drop0 = over.share, over.drop, row.share, row.drop
    for m in range(n[PIVOTS]):
        k = pivots[m]
        gone[k] = 0
        inverse[k], drop[k] = inverse0[k], drop0[k]
        for t in range(start[k], start[k + 1]):
            g[t], J[t], share[t] = g0[t], J0[t], share0[t]
        for t in range(pair[k], pair[k + 1]):
            left_g[t], left_j[t] = lg[t], lj[t]
    if n[BRIDGED]:
        for m in range(n[PATH]):
            k = over.path[m]
            over.on_path[k] = 0
            over.far_g[k] = over.far_j[k] = 0.0
        over.middle[:] = 0.0
    w.stale[:] = 0


@njit(cache=True, nogil=True, error_model="numpy")
def _based(
    net: Static, base: Lane, lane: Lane, w: Work, row: Row, over: Over, trail: Trail, number: int
) -> bool:
    """Row `number` of the trail solved and eliminated; False when it cannot be."""
    phase = trail.phase[number]
    put(w.state, trail.state[number])
    put(w.x, trail.x[number])
    for r in range(net.refs.shape[0]):
        lane.p[net.refs[r, 1], 0] = trail.copies[number, r]
    w.known[SAME] = 0
    if not again(net, lane, w, phase):
        return False
    for r in range(net.refs.shape[0]):
        base.p[net.refs[r, 1], 0] = lane.p[net.refs[r, 1], 0]
    over.n[BENT] = tangent(net, lane, w, phase)
    w.bends[:] = FITS
    w.extra[:] = 0.0
    over.s[:] = 0.0
    rank, start, inverse, share, drop = w.plan.rank, w.plan.start, w.inverse, over.share, over.drop
    for k in range(net.nodes):
        over.v[rank[k]] = w.v[k]
    for k in range(net.nodes - 1):
        emf = 0.0
        for t in range(start[k], start[k + 1]):
            share[t] = w.g[t] * inverse[k]
            emf += w.J[t]
        drop[k] = emf * inverse[k]
    for to, from_ in (
        (row.v, over.v), (row.i, w.i), (row.x, w.x), (row.law_a, w.law_a), (row.law_s, w.law_s),
        (row.bg, w.bg), (row.bj, w.bj), (row.br, w.br), (row.own_g, w.own_g), (row.own_j, w.own_j),
        (row.g, w.g),
        (row.J, w.J), (row.left_g, w.left_g), (row.left_j, w.left_j), (row.inverse, w.inverse),
        (row.share, share), (row.drop, drop),
    ):  # fmt: skip
        put(to, from_)
    put(row.bent, w.bent)
    margins(net, lane, over, phase, w.state, over.v, w.i, trail.rests[number] != 0, row.margin)
    hangs, parent, climb, na, nb = w.hangs, w.plan.parent, over.climb, over.na, over.nb
    hangs[:] = 0
    for k in range(w.known[CLIMB]):
        hangs[w.climb[k]] = 1
    for r in range(net.refs.shape[0]):
        for c in range(2):
            b = net.refs[r, c]
            hangs[na[b]] = hangs[nb[b]] = 1
    last = whole(net.nodes - 1)
    over.size[0] = climbing(hangs, parent, climb, last)
    for branches in (net.coil, net.field, net.drv_branch):
        for b in branches:
            if b >= 0:
                hangs[na[b]] = hangs[nb[b]] = 1
    for nodes in (over.mod_ground, over.sup_node, over.in_node):
        for node in nodes:
            hangs[node] = 1
    over.size[1] = climbing(hangs, parent, over.wide, last)
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def amps_of(
    which: Array, step: int, na: Array, nb: Array, v: Array, bg: Array, bj: Array, extra: Array, amps: Array
) -> None:  # fmt: skip
    for n in range(0, which.size, step):
        b = which[n]
        if b >= 0:
            amps[b] = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b] + extra[b] if bg[b] >= 0.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _one(
    net: Static, base: Lane, lane: Lane, w: Work, row: Row, over: Over, phase: int, rests: bool, slot: int,
    changes: Array, changed_count: int, out: Out, n: int,
) -> bool:  # fmt: skip
    """Whether lane n keeps every threshold on its healthy side in this row; what is kept of it goes to
    out[n, slot] (-1: nothing)."""
    volts = whole(net.coil.size + net.sup_node.size + net.in_node.size)
    count = _lay(net, base, lane, w, row, over, phase, changes, changed_count)
    if count < 0:
        return False
    plan, rank = w.plan, w.plan.rank
    if not over.n[FELT]:
        margins(net, lane, over, phase, w.state, row.v, row.i, rests, over.margin)
        same, _, _ = agrees(over.margin, row.margin, volts)
        if same and slot >= 0:
            into = out.volts[n, slot]
            for k in range(net.nodes):
                into[k] = row.v[rank[k]]
            put(out.amps[n, slot], row.i)
            put(out.x[n, slot], row.x)
            for r in range(net.refs.shape[0]):
                out.copies[n, slot, r] = base.p[net.refs[r, 1], 0]
        return same
    ok, bound, mismatch = found(net, base, lane, w, over, changes, changed_count, count, slot < 0)
    if not ok:
        return False
    kinds, na, nb, bg, bj, extra, v, amps = lane.kind, over.na, over.nb, w.bg, w.bj, w.extra, over.v, w.i
    w.counts[4] += 1
    all_of_them = slot >= 0 or rests or over.n[EVERY] != 0
    volts_of(
        plan.start, over.near, over.share, over.drop, w.inverse, v, over.s, over.wide,
        whole(0 if all_of_them else over.size[1]), over.far_g, over.far_j, over.middle,
    )  # fmt: skip
    if slot >= 0:
        amps = out.amps[n, slot]
        most = currents(kinds, na, nb, v, bg, bj, extra, amps)
        if not leftover(net.nodes, net.nodes - 1, na, nb, bg, v, amps, over.left) < LEFT_A + LEFT * most:
            return False
        into = out.volts[n, slot]
        for k in range(net.nodes):
            into[k] = v[rank[k]]
        put(out.x[n, slot], w.x)
        put(out.copies[n, slot], over.copy)
        margins(net, lane, over, phase, w.state, v, amps, rests, over.margin)
        same, _, _ = agrees(over.margin, row.margin, volts)
        return same
    for some in (net.coil, net.field, net.drv_branch):
        amps_of(some, whole(1), na, nb, v, bg, bj, extra, amps)
    if rests:
        amps_of(net.fuse_branch, whole(1), na, nb, v, bg, bj, extra, amps)
    margins(net, lane, over, phase, w.state, v, amps, rests, over.margin)
    same, room_v, room_a = agrees(over.margin, row.margin, volts)
    return same and room_v > ROOM * max(bound, NEXT_MOVE_V) and room_a > ROOM * count * mismatch + ROUNDED_A


@njit(cache=True, nogil=True)
def lay_lanes(
    net: Static, healthy: Lane, lanes: Lane, trail: Trail, rows: Array, slots: Array, out: Out, starts: Array,
    kept: Array, leaves: Array, first: int, last: int,
) -> None:  # fmt: skip
    """Every lane over the rows rows[k] of the trail in turn, as long as it keeps every threshold on its
    healthy side. leaves[n]: the first step of the drive cycle in which it does not (leaves as it is: never;
    those that have left already are left out). Where a lane comes to rest in row r and slots[r] >= 0, its
    volts, amperes and starting point go to out[n, slots[r]]. Copied currents at row starts[c] go to
    kept[n, c]."""
    base, lane = held(lane_of(healthy, 0)), held(lane_of(healthy, 0))  # one stays; lanes are written over one
    w = held(workspace(net, base))
    row, over = held(blank_row(net, w)), held(scratch(net, base, w))
    mark, some = np.zeros(base.kind.size, np.uint8), np.zeros(MOST_CHANGED, np.int32)
    begins, alike = np.zeros(last - first + 1, np.int64), np.zeros(last - first, np.uint8)
    changes = np.zeros(MOST_CHANGED, np.int32)
    for n in range(first, last):
        count = 0
        if leaves[n] > 0:
            one = held(viewed(lanes, n))
            count = changed(net, base, one, mark, some)
            alike[n - first] = else_alike(base, one)
        if count < 0:
            leaves[n] = 0
            count = 0
        at = begins[n - first]
        begins[n - first + 1] = at + count
        if at + count > changes.size:
            more = np.zeros(2 * (at + count), np.int32)
            put(more[:at], changes[:at])
            changes = more
        put(changes[at : at + count], some[:count])
    for k in range(rows.size):
        number = rows[k]
        step, phase, slot = trail.step[number], trail.phase[number], slots[number]
        rests = truth(trail.rests[number] != 0)
        based = _based(net, base, lane, w, row, over, trail, whole(number))
        for n in range(first, last):
            if leaves[n] <= step:
                continue
            if not based:
                leaves[n] = step
                continue
            at, count = begins[n - first], whole(begins[n - first + 1] - begins[n - first])
            mine = changes[at : at + count]
            one = held(viewed(lanes, n))
            patched(one, lane, over, w.plan.rank, mine, count)
            if not alike[n - first]:
                unbranched(one, lane)
            w.counts[:] = 0
            ok = _one(net, base, lane, w, row, over, phase, rests, slot, mine, count, out, whole(n))
            for c in range(starts.size):
                if ok and starts[c] == number:
                    for r in range(net.refs.shape[0]):
                        kept[n, c, r] = over.copy[r] if over.n[FELT] else base.p[net.refs[r, 1], 0]
            _taken_off(net, base, lane, w, row, over, mine, count)
            if not alike[n - first]:
                unbranched(base, lane)
            for c in range(w.counts.size):
                out.counts[n, c] += w.counts[c]
            if not ok:
                leaves[n] = step
