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
    EVERY,
    FELT,
    Over,
    Row,
    blank_row,
    changed,
    else_alike,
    forced,
    patched,
    scratch,
    unbranched,
    viewed,
)  # fmt: skip
from amptrail.solve.laid_lane import based, lay, taken_off
from amptrail.solve.laid_network import volts_of
from amptrail.solve.laid_newton import found
from amptrail.solve.margins import agrees, margins, opening
from amptrail.solve.newton import (
    LEFT,
    LEFT_A,
    NEXT_MOVE_V,
    ROOM,
    ROUNDED_A,
    currents,
    leftover,
    some_currents,
)
from amptrail.solve.plain import put, truth, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import prepare
from amptrail.solve.trail import Trail

MOST_CHANGED = 64  # branches a lane may change; more of them and it is lived by itself
STAYS, LEAVES = -1, -2  # with the healthy states; 0 and more: a fuse of it opens


@njit(cache=True, nogil=True, error_model="numpy")
def _one(
    net: Static, base: Lane, lane: Lane, w: Work, row: Row, over: Over, phase: int, rests: bool, slot: int,
    changes: Array, changed_count: int, out: Out, n: int,
) -> int:  # fmt: skip
    """STAYS: lane n keeps every threshold on its healthy side in this row; LEAVES: it does not; the number of
    a fuse: that opens, and nothing else is otherwise. What is kept of it goes to out[n, slot] (-1: nothing).
    """
    volts = whole(net.coil.size + net.sup_node.size + net.in_node.size)
    count = lay(net, base, lane, w, row, over, phase, changes, changed_count)
    if count < 0:
        return LEAVES
    at = over.at
    if not over.n[FELT]:
        margins(net, lane, over, phase, w.state, row.v, row.i, rests, over.margin)
        same, _, _ = agrees(over.margin, row.margin, volts)
        if same and slot >= 0:
            into = out.volts[n, slot]
            for k in range(net.nodes):
                into[k] = row.v[at[k]]
            put(out.amps[n, slot], row.i)
            put(out.x[n, slot], row.x)
            for r in range(net.refs.shape[0]):
                out.copies[n, slot, r] = row.copies[r]
        return STAYS if same else LEAVES
    ok, bound, mismatch = found(net, lane, w, over, row, changes, changed_count, count, slot < 0)
    if not ok:
        return LEAVES
    kinds, na, nb, bg, bj, extra, v, amps = lane.kind, over.na, over.nb, w.bg, w.bj, w.extra, over.v, w.i
    w.counts[4] += 1
    all_of_them = slot >= 0 or rests or over.n[EVERY] != 0
    volts_of(
        over.first, over.before, over.share, over.drop, over.ohm, over.whose, v, over.s, whole(over.size[0]),
        whole(net.nodes - 1 if all_of_them else over.size[1]), over.far_g, over.far_j, over.middle,
    )  # fmt: skip
    if slot >= 0:
        amps = out.amps[n, slot]
        most = currents(kinds, na, nb, v, bg, bj, extra, amps)
        if not leftover(net.nodes, whole(0), na, nb, bg, v, amps, over.left) < LEFT_A + LEFT * most:
            return LEAVES
        into = out.volts[n, slot]
        for k in range(net.nodes):
            into[k] = v[at[k]]
        put(out.x[n, slot], w.x)
        put(out.copies[n, slot], over.copy)
        margins(net, lane, over, phase, w.state, v, amps, rests, over.margin)
        same, _, _ = agrees(over.margin, row.margin, volts)
        return STAYS if same else _opens(row, over, lane)
    for some in (net.coil, net.field, net.drv_branch):
        some_currents(some, whole(1), na, nb, v, bg, bj, extra, amps)
    if rests:
        some_currents(net.fuse_branch, whole(1), na, nb, v, bg, bj, extra, amps)
    margins(net, lane, over, phase, w.state, v, amps, rests, over.margin)
    same, room_v, room_a = agrees(over.margin, row.margin, volts)
    if room_v > ROOM * max(bound, NEXT_MOVE_V) and room_a > ROOM * count * mismatch + ROUNDED_A:
        return STAYS if same else _opens(row, over, lane)
    return LEAVES


@njit(cache=True, nogil=True)
def _opens(row: Row, over: Over, lane: Lane) -> int:
    fuse = opening(over.margin, row.margin, lane.rating)
    return int(fuse) if fuse >= 0 else LEAVES


@njit(cache=True, nogil=True)
def lay_lanes(
    net: Static, healthy: Lane, lanes: Lane, trail: Trail, rows: Array, slots: Array, out: Out, starts: Array,
    kept: Array, leaves: Array, opened: Array, last_pass: int, which: Array,
    first: int, last: int,
) -> None:  # fmt: skip
    """The lanes which[first:last] over the rows rows[k] of the trail in turn, each as long as it keeps every
    threshold on its healthy side. leaves[n]: the first step of the drive cycle in which it does not (leaves
    as it is: never). Where a lane comes to rest in row r and slots[r] >= 0, its volts, amperes and starting
    point go to out[n, slots[r]]. Copied currents at row starts[c] go to kept[n, c].

    Where only a fuse opens, when a lane first comes to rest in a state and before the step `last_pass`, that
    is noted in opened[n] (else -1). Given again, it is laid with that fuse open: if it keeps to the healthy
    states with it from the first row on, it does so in the last pass."""
    base, lane = held(lane_of(healthy, 0)), held(lane_of(healthy, 0))  # one stays; lanes are written over one
    w = held(workspace(net, base))
    prepare(net, base, w, whole(0))
    row, over = held(blank_row(net, w)), held(scratch(net, base, w))
    mark, some = np.zeros(base.kind.size, np.uint8), np.zeros(MOST_CHANGED, np.int32)
    begins, alike = np.zeros(last - first + 1, np.int64), np.zeros(last - first, np.uint8)
    changes = np.zeros(MOST_CHANGED, np.int32)
    for m in range(first, last):
        n, at = which[m], begins[m - first]
        one = held(viewed(lanes, n))
        count = -1 if forced(base, one) else changed(net, base, one, mark, some)
        alike[m - first] = else_alike(base, one)
        if count < 0:
            leaves[n] = 0
            count = 0
        begins[m - first + 1] = at + count
        if opened[n] >= 0:  # its fuse is one more
            begins[m - first + 1] += 1
        if begins[m - first + 1] > changes.size:
            more = np.zeros(2 * begins[m - first + 1], np.int32)
            put(more[:at], changes[:at])
            changes = more
        put(changes[at : at + count], some[:count])
        if opened[n] >= 0:
            changes[at + count] = net.fuse_branch[opened[n]]
    for k in range(rows.size):
        number = rows[k]
        step, phase, slot = trail.step[number], trail.phase[number], slots[number]
        rests = truth(trail.rests[number] != 0)
        based(net, lane, w, row, over, trail, whole(number))
        margins(net, lane, over, phase, w.state, over.v, w.i, rests, row.margin)
        for m in range(first, last):
            n = which[m]
            if leaves[n] <= step:
                continue
            at, count = begins[m - first], whole(begins[m - first + 1] - begins[m - first])
            mine, burnt = changes[at : at + count], opened[n]
            one = held(viewed(lanes, n))
            patched(one, lane, over, mine, count)
            if burnt >= 0:
                lane.open[net.fuse_branch[burnt]] = 1
            if not alike[m - first]:
                unbranched(one, lane)
            w.counts[:] = 0
            got = _one(net, base, lane, w, row, over, phase, rests, slot, mine, count, out, whole(n))
            for c in range(starts.size):
                if got == STAYS and starts[c] == number:
                    for r in range(net.refs.shape[0]):
                        kept[n, c, r] = over.copy[r] if over.n[FELT] else row.copies[r]
            taken_off(net, w, row, over, mine, count)
            patched(base, lane, over, mine, count)
            if not alike[m - first]:
                unbranched(base, lane)
            for c in range(w.counts.size):
                out.counts[n, c] += w.counts[c]
            if got != STAYS:
                leaves[n] = step
                if burnt >= 0:  # what was kept of it is of the other network
                    leaves[n], opened[n] = 0, -1
                elif got >= 0 and step < last_pass and trail.rests[number] == 2:
                    opened[n] = got
