"""The operating point of a lane laid over a healthy state, copied currents included (compiled)."""

from __future__ import annotations

import math

from numba import njit

from amptrail.solve import laws
from amptrail.solve.laid import BRIDGED, PATH, Over, Row
from amptrail.solve.laid_network import eliminate, pushed_in, summed, volts_of
from amptrail.solve.newton import (
    COPIED_A,
    LEFT,
    LEFT_A,
    MOVED_V,
    NEXT_MOVE_V,
    ROUGH_V,
    ROUNDED_A,
    judge,
)  # fmt: skip
from amptrail.solve.plain import whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import FITS, UNKNOWN

SWEEPS = 12
ROUNDS = 20  # of copied currents
SMALL_A = 1e-4  # a copied current off by less is put into the eliminated network as amperes


@njit(cache=True, nogil=True, error_model="numpy")
def _newton(
    net: Static, lane: Lane, w: Work, over: Over, row: Row, changes: Array, changed_count: int, count: int,
    enough: float,
) -> tuple[bool, float, float]:  # fmt: skip
    """Newton over the row until the next move is bounded below `enough` V: (found, that bound V, the largest
    law mismatch A). Volts of the first over.size[0] places."""
    kinds, na, nb, p = lane.kind, over.na, over.nb, lane.p
    v, share, drop, ohm, begins, before = over.v, over.share, over.drop, over.ohm, over.first, over.before
    push, extra, bends, bent, x, stale, edge = over.s, w.extra, w.bends, w.bent, w.x, w.stale, w.plan.edge
    br, bg, bj, law_a, law_s, last, some, n = (
        w.br,
        w.bg,
        w.bj,
        w.law_a,
        w.law_s,
        over.size[0],
        over.some,
        over.n,
    )
    middle, whose, far_g, far_j, path, refs = (
        over.middle,
        over.whose,
        over.far_g,
        over.far_j,
        over.path,
        net.refs,
    )
    bound = mismatch = math.inf
    for _ in range(SWEEPS):
        moved = 0
        for m in range(count):
            b = bent[m]
            if bends[b] == FITS:
                continue
            if bends[b] == UNKNOWN:
                law_a[b], law_s[b] = laws.current(kinds[b], x[b], p[b, 0], p[b, 1], p[b, 2], p[b, 3])
            bends[b] = FITS
            extra[b] = 0.0
            r = br[b]
            s = law_s[b] / (1.0 + law_s[b] * r)
            bg[b], bj[b] = s, law_a[b] - s * (x[b] + r * law_a[b])
            if edge[b] >= 0:
                some[moved] = edge[b]
                moved += 1
        if moved > 0:
            summed(w, over, row, some, whole(moved), changes, changed_count)
        if n[BRIDGED]:
            for m in range(n[PATH]):
                k = path[m]
                far_g[k] = far_j[k] = 0.0
                stale[k] = 1
            for e in over.ends:
                far_g[e] = middle[4]
            middle[0] = middle[1] = 0.0
        eliminate(w, over, row)
        pushed_in(
            begins, before, share, ohm, whose, push, whole(last), na, nb, extra, bent, count, refs, far_g,
            middle,
        )  # fmt: skip
        volts_of(
            begins, before, share, drop, ohm, whose, v, push, whole(0), whole(last), far_g, far_j, middle
        )  # fmt: skip
        most, bound, mismatch, biggest = judge(
            kinds, na, nb, p, v, x, br, bg, bj, extra, law_a, law_s, bends, bent, count
        )
        w.counts[0] += 1
        if enough > NEXT_MOVE_V:
            if bound < enough:
                return True, bound, mismatch
        elif mismatch < LEFT_A + LEFT * biggest and (bound < enough or most < MOVED_V):
            return math.isfinite(biggest), bound, mismatch
    return False, bound, mismatch


@njit(cache=True, nogil=True, error_model="numpy")
def _copied(
    net: Static, w: Work, over: Over, row: Row, changes: Array, changed_count: int, rough: bool,
    last: float,    share: float,
) -> tuple[bool, float, float]:  # fmt: skip
    """Copies of the currents of references moved to what those carry: (whether they were there already, the
    largest change A, the share of it taken), as in `newton.steady`."""
    refs, copy, step = net.refs, over.copy, over.step
    bg, bj, extra, v, na, nb = w.bg, w.bj, w.extra, over.v, over.na, over.nb
    change = 0.0
    for r in range(refs.shape[0]):
        b = refs[r, 0]
        amps = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b] + extra[b] if bg[b] >= 0.0 else 0.0
        change = max(change, abs(amps - copy[r]))
    if change < (ROUNDED_A if rough else COPIED_A) or (change < ROUNDED_A and change >= last):
        return True, change, share
    if change > 0.9 * last:
        share *= 0.5
    moved = 0
    for r in range(refs.shape[0]):
        b, c = refs[r, 0], refs[r, 1]
        amps = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b] + extra[b] if bg[b] >= 0.0 else 0.0
        miss = amps - copy[r]
        factor = miss / step[r] if step[r] != 0.0 else 0.0
        copy[r] += share * (miss if abs(factor) >= 0.5 else miss / (1.0 - factor))
        step[r] = miss
        moved = _carried(w, over, c, copy[r], moved)
    if moved:
        summed(w, over, row, over.some, whole(moved), changes, changed_count)
    return False, change, share


@njit(cache=True, nogil=True, error_model="numpy")
def _carried(w: Work, over: Over, c: int, amps: float, moved: int) -> int:
    """Copy branch c carries `amps`: put into the network where that is little more than what is in its arm,
    else its arm is to be summed again (noted in over.some)."""
    if w.bg[c] < 0.0:
        return moved
    if abs(amps - w.bj[c]) < SMALL_A:
        w.extra[c] = amps - w.bj[c]
        return moved
    w.bj[c], w.extra[c] = amps, 0.0
    if w.plan.edge[c] >= 0:
        over.some[moved] = w.plan.edge[c]
        moved += 1
    return moved


@njit(cache=True, nogil=True, error_model="numpy")
def found(
    net: Static, lane: Lane, w: Work, over: Over, row: Row, changes: Array, changed_count: int, count: int,
    rough: bool,
) -> tuple[bool, float, float]:  # fmt: skip
    """The operating point, references included: (found, how far off V, how far off A)."""
    refs, unit, awake, moved = net.refs, net.unit, net.at[2], 0
    for r in range(refs.shape[0]):
        b, c = refs[r, 0], refs[r, 1]
        over.step[r] = 0.0
        over.copy[r] = row.copies[r] if w.state[awake + unit[b]] and not lane.open[b] else 0.0
        if over.copy[r] != w.bj[c]:
            moved = _carried(w, over, c, over.copy[r], moved)
    if moved:
        summed(w, over, row, over.some, whole(moved), changes, changed_count)
    share, last = 1.0, math.inf
    for _ in range(ROUNDS):
        ok, bound, mismatch = _newton(
            net, lane, w, over, row, changes, changed_count, count, ROUGH_V if rough else NEXT_MOVE_V
        )
        if not ok:
            return False, bound, mismatch
        for m in range(count):  # what they miss is what an answer may
            if not rough:
                w.bends[w.bent[m]] = FITS
        if refs.shape[0] == 0:
            return True, bound, mismatch
        there, last, share = _copied(net, w, over, row, changes, changed_count, rough, last, share)
        if there:
            return True, bound, mismatch
    return False, math.inf, math.inf
