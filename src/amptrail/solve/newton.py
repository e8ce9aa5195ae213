"""The DC operating point of one discrete state: safe Newton over star-mesh sweeps (compiled)."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.elimination import backward, backward_of, forward, pushed
from amptrail.solve.laws import CURRENT, RES
from amptrail.solve.logic import room
from amptrail.solve.plain import put, truth, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import (
    CLIMB,
    FITS,
    LEAK_S,
    MISSES,
    SAME,
    STIRRED,
    UNKNOWN,
    WIDE,
    prepare,
    stamp,
)  # fmt: skip

WARM_SWEEPS = 12
COLD_SWEEPS = 40
SEARCH_STEPS = 200  # Newton steps with a line search, after which there is no answer
SEARCH_HALVINGS = 80
NEXT_MOVE_V = 5e-12  # the step after this one would be smaller: not taken
CHORD = (
    1e-3  # share by which a slope may be off the one in the arms and still be used: it gains three figures
)
FITS_SHARE = 0.25  # of that, over all branches: what tangents left in the arms may miss
MOVED_V = 1e-9  # a part of 1 microhm turns the rounding of 16 V into nanoamperes; 1 nV is far above rounding
COPIED_A = 3e-11  # a reference's current and its copy at the supply: 1 nV in 30 ohm
ROUNDED_A = 1e-8  # below this, copies that come no nearer are at the rounding of the volts over small ohms
ROUGH_V = (
    1e-3  # what a solution may be off by that is only asked what switches; thresholds are tenths of volts
)
ROOM = 4.0  # times what it may be off by: how far off every threshold has to be
NOTHING_NEW, FOUND, NOT_FOUND = range(3)
LEFT_A, LEFT = 1e-6, 1e-9  # current that may be left over at a node: 1 uA and 1e-9 of the largest


@njit(cache=True, nogil=True, error_model="numpy")
def judge(
    kinds: Array, na: Array, nb: Array, p: Array, v: Array, x: Array, br: Array, bg: Array, bj: Array,
    extra: Array, law_a: Array, law_s: Array, bends: Array, bent: Array, count: int,
) -> tuple[float, float, float, float]:  # fmt: skip
    """The next x of the nonlinear branches: (largest move V, bound of the move after it V, largest law
    mismatch A, largest current A).

    Which tangents miss the law at the new x by more than a share of what Newton stops at goes to `bends`: the
    others stay in the arms as they are. Where the slope has hardly changed the tangent stays too, and what
    the law gives more goes to `extra`: amperes put into an eliminated network cost a fraction of eliminating.

    The bound: with tangents at the new x, a mismatch of e amperes in a branch of slope s moves no voltage
    anywhere by more than e/s, for all conductances are positive.
    """
    moved = bound = mismatch = biggest = 0.0
    fits = FITS_SHARE * NEXT_MOVE_V / max(count, 1)
    for n in range(count):
        b = bent[n]
        kind = kinds[b]
        across = v[na[b]] - v[nb[b]]
        r = br[b]
        i = bg[b] * across + bj[b] + extra[b]
        biggest = max(biggest, abs(i))
        old = x[b]
        free = across - r * i
        new = laws.limited(kind, old, free, p[b, 0], p[b, 1], p[b, 2])
        if kind == laws.DIODE and old > 0.0:
            new = laws.let_down(old, new, i, p[b, 0], p[b, 1])
        if new != free:
            bound = math.inf
            bends[b] = MISSES
        step = new - old
        moved = max(moved, abs(step))
        x[b] = new
        if kind == laws.LAMP and step * step < fits * p[b, 0] / laws.LAMP_BEND:
            law_a[b] += law_s[b] * step  # its power law takes longer than all else here
        else:
            law_a[b], law_s[b] = laws.current(kind, new, p[b, 0], p[b, 1], p[b, 2], p[b, 3])
        off = abs(law_a[b] - i)
        mismatch = max(mismatch, off)
        if off > 0.0:
            bound += off / law_s[b]
            if off > fits * law_s[b] and bends[b] == FITS:
                g = law_s[b] / (1.0 + law_s[b] * r)
                if abs(g - bg[b]) > CHORD * bg[b]:
                    bends[b] = MISSES
                else:
                    extra[b] = law_a[b] - bg[b] * (new + r * law_a[b]) - bj[b]
    return moved, bound, mismatch, biggest


@njit(cache=True, nogil=True, error_model="numpy")
def currents(
    kinds: Array, na: Array, nb: Array, v: Array, bg: Array, bj: Array, extra: Array, amps: Array
) -> float:  # fmt: skip
    """Every branch current; the largest, A."""
    biggest = 0.0
    for b in range(kinds.size):
        amps[b] = 0.0
        if bg[b] >= 0.0:
            amps[b] = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b] + extra[b]
            biggest = max(biggest, abs(amps[b]))
    return biggest


@njit(cache=True, nogil=True, error_model="numpy")
def linearised(net: Static, lane: Lane, w: Work, count: int) -> None:
    """The linear network at w.x after `prepare`, wholly eliminated: arms in w.g, 1/sums in w.inverse, volts
    of one Newton step in w.v."""
    plan = w.plan
    stamp(lane, w, count, truth(True))
    w.known[STIRRED] = 1
    forward(
        plan.start, plan.pair, plan.rank, plan.near, plan.comes, plan.source, w.own_g, w.own_j, w.left_g,
        w.left_j, w.g, w.J, w.inverse, w.stale,
    )  # fmt: skip
    w.v[net.ground] = 0.0
    w.push[:] = 0.0
    backward(plan.order, plan.start, plan.near, w.g, w.J, w.inverse, w.v, w.push)


@njit(cache=True, nogil=True, error_model="numpy")
def constant(net: Static, w: Work) -> None:
    """Peak and heating value of what does not change within a period."""
    w.heat[0] = abs(w.v[w.tap[0]] - w.v[w.tap[1]])
    amps, peak, warm, drivers, fuses = w.i, w.peak, w.warm, net.drv_branch, net.fuse_branch
    for d in range(peak.size):
        peak[d] = abs(amps[drivers[d]])
    for f in range(warm.size):
        warm[f] = abs(amps[fuses[f]])


@njit(cache=True, nogil=True, error_model="numpy")
def tangent(net: Static, lane: Lane, w: Work, phase: int) -> int:
    """`linearised` at w.x, the amperes of that Newton step in w.i. Returns how many nonlinear branches
    conduct (their numbers in w.bent)."""
    count = prepare(net, lane, w, phase)
    linearised(net, lane, w, count)
    currents(lane.kind, lane.na, lane.nb, w.v, w.bg, w.bj, w.extra, w.i)
    constant(net, w)
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def leftover(
    nodes: int, ground: int, na: Array, nb: Array, bg: Array, v: Array, amps: Array, left: Array
) -> float:
    """Kirchhoff's current law by the branch currents themselves: `left` A at every node; the largest back."""
    for n in range(nodes):
        left[n] = LEAK_S * v[n]
    for b in range(bg.size):
        if bg[b] >= 0.0:
            left[na[b]] += amps[b]
            left[nb[b]] -= amps[b]
    left[ground] = 0.0
    most = 0.0
    for n in range(nodes):
        most = max(most, abs(left[n]))
    return most


@njit(cache=True, nogil=True, error_model="numpy")
def exact(lane: Lane, w: Work, v: Array) -> float:
    """Branch currents w.i and element voltages w.x by the laws themselves at node volts v; the most A."""
    biggest = 0.0
    for b in range(lane.kind.size):
        if w.bg[b] < 0.0:
            continue
        kind, u = lane.kind[b], v[lane.na[b]] - v[lane.nb[b]]
        if kind in (RES, CURRENT):
            w.i[b] = w.bg[b] * u + w.bj[b]
        else:
            p = lane.p
            w.x[b] = laws.share(kind, u, w.br[b], p[b, 0], p[b, 1], p[b, 2], p[b, 3])
            w.i[b], _ = laws.current(kind, w.x[b], p[b, 0], p[b, 1], p[b, 2], p[b, 3])
        biggest = max(biggest, abs(w.i[b]))
    return biggest


@njit(cache=True, nogil=True, error_model="numpy")
def _downhill(net: Static, lane: Lane, w: Work, at: Array, step: Array, t: float) -> float:
    """Slope of the co-content along `step` at `at` + t `step`: the leftover currents times the step."""
    for n in range(net.nodes):
        w.v[n] = at[n] + t * step[n]
    exact(lane, w, w.v)
    leftover(net.nodes, net.ground, lane.na, lane.nb, w.bg, w.v, w.i, w.left)
    slope = 0.0
    for n in range(net.nodes):
        slope += w.left[n] * step[n]
    return slope


@njit(cache=True, nogil=True, error_model="numpy")
def search(net: Static, lane: Lane, w: Work, count: int) -> bool:
    """Newton on node volts with a line search on the co-content, the sum of the integrals of all laws.

    Every law is non-falling, so the co-content is convex with its one minimum at the operating point (Millar
    1951; from memory), and a Newton step always leads downhill: no circuit of such parts can defeat it.
    """
    at, step = np.zeros(net.nodes), np.zeros(net.nodes)
    for _ in range(SEARCH_STEPS):
        exact(lane, w, at)
        linearised(net, lane, w, count)
        w.counts[0] += 1
        longest = 0.0
        for n in range(net.nodes):
            step[n] = w.v[n] - at[n]
            longest = max(longest, abs(step[n]))
        low, high = 0.0, 1.0
        t = 1.0
        if _downhill(net, lane, w, at, step, t) > 0.0:
            for _ in range(SEARCH_HALVINGS):
                t = 0.5 * (low + high)
                if _downhill(net, lane, w, at, step, t) > 0.0:
                    high = t
                else:
                    low = t
                if high - low < 1e-2 * low:
                    break
            t = low if low > 0.0 else high
        for n in range(net.nodes):
            at[n] += t * step[n]
        put(w.v, at)
        biggest = exact(lane, w, at)
        most = leftover(net.nodes, net.ground, lane.na, lane.nb, w.bg, at, w.i, w.left)
        if longest < MOVED_V and most < LEFT_A + LEFT * biggest:
            return math.isfinite(biggest)
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def _push(
    order: Array, na: Array, nb: Array, extra: Array, bent: Array, count: int, s: Array, climb: Array,
    last: int,
) -> None:  # fmt: skip
    """The amperes `extra` of the nonlinear branches at their ends."""
    for n in range(last):
        s[order[climb[n]]] = 0.0
    for n in range(count):
        b = bent[n]
        if extra[b] != 0.0:
            s[na[b]] -= extra[b]
            s[nb[b]] += extra[b]


@njit(cache=True, nogil=True, error_model="numpy")
def _iterated(net: Static, lane: Lane, w: Work, count: int, enough: float) -> tuple[int, float, float]:
    """Newton after `prepare` until the next move is bounded below `enough` V: (NOTHING_NEW, FOUND or
    NOT_FOUND, that bound V, the largest law mismatch A). Volts of pivots that nonlinear branches hang on."""
    kinds, na, nb, p = lane.kind, lane.na, lane.nb, lane.p
    plan, g, J, v, inverse = w.plan, w.g, w.J, w.v, w.inverse
    order, start, near, push, extra = plan.order, plan.start, plan.near, w.push, w.extra
    climb, known, bends, bent, x = w.climb, w.known, w.bends, w.bent, w.x
    pair, rank, comes, source, stale = plan.pair, plan.rank, plan.comes, plan.source, w.stale
    own_g, own_j, left_g, left_j, br, bg, bj = w.own_g, w.own_j, w.left_g, w.left_j, w.br, w.bg, w.bj
    law_a, law_s, counts, last = w.law_a, w.law_s, w.counts, known[CLIMB]
    v[net.ground] = 0.0
    bound = mismatch = math.inf
    for k in range(WARM_SWEEPS + COLD_SWEEPS):
        if k == WARM_SWEEPS:
            x[:] = 0.0
            bends[:] = UNKNOWN
            counts[1] += 1
        stamp(lane, w, count, truth(False))
        if k == 0 and not known[STIRRED]:
            return NOTHING_NEW, 0.0, 0.0  # the volts are those of this very network
        forward(
            start, pair, rank, near, comes, source, own_g, own_j, left_g, left_j, g, J, inverse, stale
        )  # fmt: skip
        _push(order, na, nb, extra, bent, count, push, climb, whole(last))
        pushed(order, start, near, g, inverse, push, climb, whole(last))
        backward_of(order, start, near, g, J, inverse, v, push, climb, whole(last))
        moved, bound, mismatch, biggest = judge(
            kinds, na, nb, p, v, x, br, bg, bj, extra, law_a, law_s, bends, bent, count
        )
        counts[0] += 1
        known[STIRRED] = 1
        if enough > NEXT_MOVE_V:
            if bound < enough:
                return FOUND, bound, mismatch
        elif mismatch < LEFT_A + LEFT * biggest and (bound < enough or moved < MOVED_V):
            return FOUND if math.isfinite(biggest) else NOT_FOUND, bound, mismatch
    return NOT_FOUND, bound, mismatch


@njit(cache=True, nogil=True, error_model="numpy")
def newton(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Iterate from the warm start w.x; cold after 12 sweeps; a line search after 40 cold ones. True: an
    answer that keeps Kirchhoff's current law at every node."""
    count = prepare(net, lane, w, phase)
    found, _, _ = _iterated(net, lane, w, count, NEXT_MOVE_V)
    if found == NOTHING_NEW:
        return True
    if found == NOT_FOUND:
        w.counts[2] += 1
        return search(net, lane, w, count)
    bends, bent, plan = w.bends, w.bent, w.plan
    for n in range(count):  # what they miss is what an answer may
        bends[bent[n]] = FITS
    backward(plan.order, plan.start, plan.near, w.g, w.J, w.inverse, w.v, w.push)
    most = currents(lane.kind, lane.na, lane.nb, w.v, w.bg, w.bj, w.extra, w.i)
    if leftover(net.nodes, net.ground, lane.na, lane.nb, w.bg, w.v, w.i, w.left) < LEFT_A + LEFT * most:
        w.known[STIRRED] = 0
        return True
    w.counts[5] += 1
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def some_currents(
    which: Array, step: int, na: Array, nb: Array, v: Array, bg: Array, bj: Array, extra: Array, amps: Array
) -> None:  # fmt: skip
    """Currents of every `step`th of some branches (-1: none)."""
    for n in range(0, which.size, step):
        b = which[n]
        if b >= 0:
            amps[b] = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b] + extra[b] if bg[b] >= 0.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def foreseen(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Whether what relays, modules, drivers and alternators do next is known from a rough solution (True, and
    it is in w.v, w.i and w.peak as far as they look at it): no voltage is off by so much that one of them
    could do otherwise. Most solutions are only for that: some relay pulls in, and the next state is solved.
    """
    if pulses(net, lane, w):
        return False
    _silence(net, lane, w)
    count = prepare(net, lane, w, phase)
    found, bound, mismatch = _iterated(net, lane, w, count, ROUGH_V)
    plan, v = w.plan, w.v
    if found == NOT_FOUND:
        return False
    if found == FOUND:
        backward_of(
            plan.order, plan.start, plan.near, w.g, w.J, w.inverse, v, w.push, w.wide, whole(w.known[WIDE])
        )  # fmt: skip
        na, nb, bg, bj, extra = lane.na, lane.nb, w.bg, w.bj, w.extra
        for some in (net.coil, net.field, net.drv_branch):
            some_currents(some, whole(1), na, nb, v, bg, bj, extra, w.i)
        some_currents(net.refs.reshape(-1), whole(2), na, nb, v, bg, bj, extra, w.i)
    amps, refs, p, peak, drivers = w.i, net.refs, lane.p, w.peak, net.drv_branch
    for r in range(refs.shape[0]):
        if abs(amps[refs[r, 0]] - p[refs[r, 1], 0]) >= ROUNDED_A:
            return False
    for d in range(peak.size):
        peak[d] = abs(amps[drivers[d]])
    volts, room_a = room(net, lane, w)
    known = volts > ROOM * max(bound, NEXT_MOVE_V) and room_a > ROOM * count * mismatch + ROUNDED_A
    w.counts[4] += known
    return known


@njit(cache=True, nogil=True, error_model="numpy")
def _silence(net: Static, lane: Lane, w: Work) -> None:
    """A reference that is off leaves no copied current behind: 30 pA in 12 kohm are 0.4 uV."""
    refs, unit, opened, p, state, awake = net.refs, net.unit, lane.open, lane.p, w.state, net.at[2]
    for r in range(refs.shape[0]):
        b = refs[r, 0]
        if opened[b] or not state[awake + unit[b]]:
            p[refs[r, 1], 0] = 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def steady(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Operating point, references included: their current is copied to the supply one round late, to 30 pA.

    Each round shrinks what is missing by about one factor: the rest of that series is taken at once (Aitken).
    Where rounding lets it come no nearer than some nanoamperes, that is the answer.
    """
    w.counts[4] += 1
    _silence(net, lane, w)
    refs, p, amps = net.refs, lane.p, w.i
    ok = newton(net, lane, w, phase)
    share = 1.0
    last = math.inf
    steps = np.zeros(refs.shape[0])
    for _ in range(60):
        change = 0.0
        for r in range(refs.shape[0]):
            change = max(change, abs(amps[refs[r, 0]] - p[refs[r, 1], 0]))
        if change < COPIED_A or (change < ROUNDED_A and change >= last) or not ok:
            break
        if change > 0.9 * last:
            share *= 0.5
        last = change
        for r in range(refs.shape[0]):
            step = amps[refs[r, 0]] - p[refs[r, 1], 0]
            factor = step / steps[r] if steps[r] != 0.0 else 0.0
            steps[r] = step if abs(factor) >= 0.5 else step / (1.0 - factor)
            p[refs[r, 1], 0] += share * steps[r]
            steps[r] = step
        ok = newton(net, lane, w, phase)
    else:
        ok = False
    if not ok:
        w.counts[3] += 1
        w.x[:] = 0.0
        w.known[SAME] = 0
    return ok


@njit(cache=True, nogil=True, error_model="numpy")
def edge_after(net: Static, lane: Lane, w: Work, since: float) -> float:
    """The share of the period at which the next pulsed driver lets go; 1: none does before it is over."""
    till = 1.0
    for d in range(net.drv_branch.size):
        duty = lane.p[net.drv_branch[d], 2]
        if w.state[net.at[3] + d] and since < duty < till:
            till = duty
    return till


@njit(cache=True, nogil=True)
def pulses(net: Static, lane: Lane, w: Work) -> bool:
    """Whether a pulsed driver is on."""
    if net.pulsed == 0:
        return False
    for d in range(net.drv_branch.size):
        if w.state[net.at[3] + d] and lane.p[net.drv_branch[d], 2] < 1.0:
            return True
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def _averaged(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """`steady` in every share of a period of the pulsed drivers; their means are left in w.v and w.i.

    All begin to conduct at the same moment, each for its duty. Armatures, fuses and modules do not follow
    within a period: they see the means, a current limit the peak, a fuse and a filament what heats.
    """
    v, i = np.zeros(w.v.size), np.zeros(w.i.size)
    square = since = 0.0
    w.peak[:] = 0.0
    w.warm[:] = 0.0
    while since < 1.0:
        till = edge_after(net, lane, w, since)
        share = till - since
        w.since[0] = since
        if not steady(net, lane, w, phase):
            w.since[0] = 0.0
            return False
        for n in range(v.size):
            v[n] += share * w.v[n]
        for b in range(i.size):
            i[b] += share * w.i[b]
        across = w.v[w.tap[0]] - w.v[w.tap[1]]
        square += share * across * across
        for d in range(w.peak.size):
            w.peak[d] = max(w.peak[d], abs(w.i[net.drv_branch[d]]))
        for f in range(w.warm.size):
            w.warm[f] += share * w.i[net.fuse_branch[f]] ** 2
        since = till
    w.since[0] = 0.0
    w.known[STIRRED] = 1
    put(w.v, v)
    put(w.i, i)
    w.heat[0] = math.sqrt(square)
    for f in range(w.warm.size):
        w.warm[f] = math.sqrt(w.warm[f])
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def again(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """The operating point of one discrete state, or its means over a period of the pulsed drivers. The lane
    is the one solved last in this scratch, the state may be another."""
    if pulses(net, lane, w):
        return bool(_averaged(net, lane, w, phase))
    ok = steady(net, lane, w, phase)
    constant(net, w)
    return bool(ok)


@njit(cache=True, nogil=True, error_model="numpy")
def solve(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """`again` where the lane or its warm start may have changed since."""
    w.known[SAME] = 0
    return bool(again(net, lane, w, phase))
