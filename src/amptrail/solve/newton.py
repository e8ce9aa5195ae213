"""The DC operating point of one discrete state: safe Newton over star-mesh sweeps (compiled)."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.elimination import backward, forward
from amptrail.solve.laws import (
    ALWAYS,
    BROKEN,
    CHARGE,
    CURRENT,
    DRIVER,
    FUSE,
    LOWSIDE,
    MADE,
    MIN_OHM,
    NONE,
    PULL,
    REF,
    RES,
    SUPPLY,
    SWITCH,
)  # fmt: skip
from amptrail.solve.plain import put, whole
from amptrail.solve.records import Array, Lane, Static, Work

WARM_SWEEPS = 12
COLD_SWEEPS = 40
SEARCH_STEPS = 200  # Newton steps with a line search, after which there is no answer
SEARCH_HALVINGS = 80
NEXT_MOVE_V = 5e-12  # the step after this one would be smaller: not taken
LEAK_S = 1e-9  # every node has 1 gigaohm to BAT.-
MOVED_V = 1e-9  # a part of 1 microhm turns the rounding of 16 V into nanoamperes; 1 nV is far above rounding
COPIED_A = 3e-11  # a reference's current and its copy at the supply: 1 nV in 30 ohm
ROUNDED_A = 1e-8  # below this, copies that come no nearer are at the rounding of the volts over small ohms
LEFT_A, LEFT = 1e-6, 1e-9  # current that may be left over at a node: 1 uA and 1e-9 of the largest


@njit(cache=True, nogil=True)
def conducts(net: Static, lane: Lane, phase: int, state: Array, gate: int, unit: int) -> bool:
    """Whether a switched branch is made (supplies and pulls always are)."""
    at = net.at
    if gate == SWITCH:
        return bool(lane.switch[unit] == 1 or (lane.switch[unit] < 0 and net.closed[phase, unit] == 1))
    if gate in (MADE, BROKEN):
        stuck = lane.relay[unit]
        made = state[at[0] + unit] == 1 if stuck < 0 else stuck == 1
        return bool(made == (gate == MADE))
    if gate == REF:
        return bool(state[at[2] + unit])
    if gate == FUSE:
        return not state[at[5] + unit]
    if gate == CHARGE:
        return bool(state[at[6] + unit])
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def linear(net: Static, lane: Lane, state: Array, since: float, b: int) -> tuple[float, float]:
    """(ohm, volts) of a linear branch in this state: current = (u - volts)/ohm."""
    gate, unit = net.gate[b], net.unit[b]
    r, e = lane.p[b, 0], 0.0
    at = net.at
    if gate == DRIVER:
        on = state[at[3] + unit] and lane.p[b, 2] > since
        r = lane.p[b, 0] if on else lane.p[b, 1]
    elif gate == LOWSIDE:  # the lower half of a half bridge: on while awake and the upper half is not
        module = int(lane.p[b, 3])
        on = state[at[2] + module] and not (state[at[3] + unit] and lane.p[b, 2] > since)
        r = lane.p[b, 0] if on else lane.p[b, 1]
    elif gate == SUPPLY:
        r = lane.p[b, 0] if state[at[2] + unit] else lane.p[b, 1]
    elif gate == PULL and state[at[2] + unit]:
        e = lane.p[b, 1]
    return max(r, MIN_OHM) + lane.series[b], e


@njit(cache=True, nogil=True, error_model="numpy")
def prepare(net: Static, lane: Lane, w: Work, phase: int) -> int:
    """What no Newton step changes: siemens (-1: does not conduct) and source amperes of linear branches in
    w.bg and w.bj, series ohms of the others in w.br and their numbers in w.bent. Returns how many those are.
    Done once a solve: passing the tuples of arrays to a function costs more than the arithmetic in it."""
    state, gates, units, kinds, p = w.state, net.gate, net.unit, lane.kind, lane.p
    series, opened, g, c, r = lane.series, lane.open, w.bg, w.bj, w.br
    bent, count = w.bent, 0
    for b in range(kinds.size):
        kind, gate = kinds[b], gates[b]
        g[b] = -1.0
        c[b] = 0.0
        if kind == NONE or opened[b]:
            continue
        if gate != ALWAYS and not conducts(net, lane, phase, state, gate, units[b]):
            continue
        g[b] = 0.0
        if kind == RES:
            ohm, emf = max(p[b, 0], MIN_OHM) + series[b], 0.0
            if gate in (DRIVER, LOWSIDE, SUPPLY, PULL):
                ohm, emf = linear(net, lane, state, w.since[0], b)
            g[b] = 1.0 / ohm
            c[b] = -emf / ohm
        elif kind == CURRENT:
            c[b] = p[b, 0]
        else:
            r[b] = series[b] + (p[b, 2] if kind == laws.DIODE else 0.0)
            bent[count] = b
            count += 1
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def stamp_linear(
    start: Array, rank: Array, kinds: Array, na: Array, nb: Array, edge: Array, sign: Array, bg: Array,
    bj: Array, g: Array, J: Array,
) -> int:  # fmt: skip
    """Leaks and every conducting linear branch into the arms. Returns the first pivot that a conducting
    nonlinear branch touches: those before it are eliminated once."""
    g[:] = 0.0
    J[:] = 0.0
    head: int = whole(start.size - 1)
    for k in range(head):
        g[start[k + 1] - 1] = LEAK_S
    for b in range(kinds.size):
        t = edge[b]
        if bg[b] < 0.0 or t < 0:
            continue
        if kinds[b] in (RES, CURRENT):
            g[t] += bg[b]
            J[t] += sign[b] * bj[b]
        else:
            head = min(head, whole(rank[na[b]]), whole(rank[nb[b]]))
    return head


@njit(cache=True, nogil=True, error_model="numpy")
def bend(kinds: Array, p: Array, x: Array, bent: Array, count: int, amps: Array, slope: Array) -> None:
    """The laws of the nonlinear branches at x."""
    for n in range(count):
        b = bent[n]
        amps[b], slope[b] = laws.current(kinds[b], x[b], p[b, 0], p[b, 1], p[b, 2], p[b, 3])


@njit(cache=True, nogil=True, error_model="numpy")
def stamp(
    bent: Array, count: int, edge: Array, sign: Array, x: Array, br: Array, law_a: Array, law_s: Array,
    bg: Array, bj: Array, g: Array, J: Array,
) -> None:  # fmt: skip
    """Nonlinear branches by their tangent at x."""
    for n in range(count):
        b = bent[n]
        i, s, r = law_a[b], law_s[b], br[b]
        bg[b] = s / (1.0 + s * r)
        bj[b] = i - bg[b] * (x[b] + r * i)
        t = edge[b]
        if t >= 0:
            g[t] += bg[b]
            J[t] += sign[b] * bj[b]


@njit(cache=True, nogil=True, error_model="numpy")
def judge(
    kinds: Array, na: Array, nb: Array, p: Array, v: Array, x: Array, br: Array, bg: Array, bj: Array,
    law_a: Array, law_s: Array, bent: Array, count: int,
) -> tuple[float, float, float, float]:  # fmt: skip
    """The next x of the nonlinear branches: (largest move V, bound of the move after it V, largest law
    mismatch A, largest current A).

    The bound: with tangents at the new x, a mismatch of e amperes in a branch of slope s moves no voltage
    anywhere by more than e/s, for all conductances are positive.
    """
    moved = bound = mismatch = biggest = 0.0
    for n in range(count):
        b = bent[n]
        kind = kinds[b]
        across = v[na[b]] - v[nb[b]]
        i = bg[b] * across + bj[b]
        biggest = max(biggest, abs(i))
        old = x[b]
        free = across - br[b] * i
        new = laws.limited(kind, old, free, p[b, 0], p[b, 1], p[b, 2])
        if new != free:
            bound = math.inf
        moved = max(moved, abs(new - old))
        x[b] = new
        law_a[b], law_s[b] = laws.current(kind, new, p[b, 0], p[b, 1], p[b, 2], p[b, 3])
        off = abs(law_a[b] - i)
        mismatch = max(mismatch, off)
        if off > 0.0:
            bound += off / law_s[b]
    return moved, bound, mismatch, biggest


@njit(cache=True, nogil=True, error_model="numpy")
def currents(kinds: Array, na: Array, nb: Array, v: Array, bg: Array, bj: Array, amps: Array) -> float:
    """Every branch current; the largest, A."""
    biggest = 0.0
    for b in range(kinds.size):
        amps[b] = 0.0
        if bg[b] >= 0.0:
            amps[b] = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b]
            biggest = max(biggest, abs(amps[b]))
    return biggest


@njit(cache=True, nogil=True, error_model="numpy")
def linearised(net: Static, lane: Lane, w: Work, count: int) -> None:
    """The linear network at w.x after `prepare`, wholly eliminated: arms in w.g, 1/sums in w.inverse, volts
    of one Newton step in w.v."""
    plan = w.plan
    none, last = whole(0), whole(plan.order.size)
    stamp_linear(
        plan.start, plan.rank, lane.kind, lane.na, lane.nb, plan.edge, plan.sign, w.bg, w.bj, w.g, w.J
    )
    bend(lane.kind, lane.p, w.x, w.bent, count, w.law_a, w.law_s)
    stamp(w.bent, count, plan.edge, plan.sign, w.x, w.br, w.law_a, w.law_s, w.bg, w.bj, w.g, w.J)
    forward(plan.start, plan.target, w.g, w.J, w.inverse, none, last, none)
    w.v[net.ground] = 0.0
    backward(plan.order, plan.start, plan.near, w.g, w.J, w.inverse, w.v, none, last)


@njit(cache=True, nogil=True, error_model="numpy")
def constant(net: Static, w: Work) -> None:
    """Peak and heating value of what does not change within a period."""
    w.heat[0] = abs(w.v[w.tap[0]] - w.v[w.tap[1]])
    for d in range(w.peak.size):
        w.peak[d] = abs(w.i[net.drv_branch[d]])
    for f in range(w.warm.size):
        w.warm[f] = abs(w.i[net.fuse_branch[f]])


@njit(cache=True, nogil=True, error_model="numpy")
def tangent(net: Static, lane: Lane, w: Work, phase: int) -> int:
    """`linearised` at w.x, the amperes of that Newton step in w.i. Returns how many nonlinear branches
    conduct (their numbers in w.bent)."""
    count = prepare(net, lane, w, phase)
    linearised(net, lane, w, count)
    currents(lane.kind, lane.na, lane.nb, w.v, w.bg, w.bj, w.i)
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
def newton(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Iterate from the warm start w.x; cold after 12 sweeps; a line search after 40 cold ones. True: an
    answer that keeps Kirchhoff's current law at every node."""
    count = prepare(net, lane, w, phase)
    kinds, na, nb, p = lane.kind, lane.na, lane.nb, lane.p
    plan, g, J, v, inverse = w.plan, w.g, w.J, w.v, w.inverse
    order, start, near, target = plan.order, plan.start, plan.near, plan.target
    head = stamp_linear(start, plan.rank, kinds, na, nb, plan.edge, plan.sign, w.bg, w.bj, g, J)
    none, last = whole(0), whole(order.size)
    forward(start, target, g, J, inverse, none, head, none)
    tail = start[head]
    put(w.linear_g[tail:], g[tail:])
    put(w.linear_j[tail:], J[tail:])
    v[net.ground] = 0.0
    bend(kinds, p, w.x, w.bent, count, w.law_a, w.law_s)
    done = False
    for k in range(WARM_SWEEPS + COLD_SWEEPS):
        if k == WARM_SWEEPS:
            w.x[:] = 0.0
            bend(kinds, p, w.x, w.bent, count, w.law_a, w.law_s)
            w.counts[1] += 1
        if k > 0:
            put(g[tail:], w.linear_g[tail:])
            put(J[tail:], w.linear_j[tail:])
        stamp(w.bent, count, plan.edge, plan.sign, w.x, w.br, w.law_a, w.law_s, w.bg, w.bj, g, J)
        forward(start, target, g, J, inverse, head, last, whole(plan.pair[head]))
        backward(order, start, near, g, J, inverse, v, head, last)
        moved, bound, mismatch, biggest = judge(
            kinds, na, nb, p, v, w.x, w.br, w.bg, w.bj, w.law_a, w.law_s, w.bent, count
        )
        w.counts[0] += 1
        if mismatch < LEFT_A + LEFT * biggest and (bound < NEXT_MOVE_V or moved < MOVED_V):
            done = math.isfinite(biggest)
            break
    if not done:
        w.counts[2] += 1
        return search(net, lane, w, count)
    backward(order, start, near, g, J, inverse, v, none, head)
    most = currents(kinds, na, nb, v, w.bg, w.bj, w.i)
    if leftover(net.nodes, net.ground, na, nb, w.bg, v, w.i, w.left) < LEFT_A + LEFT * most:
        return True
    w.counts[5] += 1
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def steady(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Operating point, references included: their current is copied to the supply one round late, to 30 pA.

    Each round shrinks what is missing by about one factor: the rest of that series is taken at once (Aitken).
    Where rounding lets it come no nearer than some nanoamperes, that is the answer.
    """
    w.counts[4] += 1
    ok = newton(net, lane, w, phase)
    share = 1.0
    last = math.inf
    steps = np.zeros(net.refs.shape[0])
    for _ in range(60):
        change = 0.0
        for r in range(net.refs.shape[0]):
            b, copy = net.refs[r, 0], net.refs[r, 1]
            step = w.i[b] - lane.p[copy, 0]
            change = max(change, abs(step))
        if change < COPIED_A or (change < ROUNDED_A and change >= last) or not ok:
            break
        if change > 0.9 * last:
            share *= 0.5
        last = change
        for r in range(net.refs.shape[0]):
            b, copy = net.refs[r, 0], net.refs[r, 1]
            step = w.i[b] - lane.p[copy, 0]
            factor = step / steps[r] if steps[r] != 0.0 else 0.0
            steps[r] = step if abs(factor) >= 0.5 else step / (1.0 - factor)
            lane.p[copy, 0] += share * steps[r]
            steps[r] = step
        ok = newton(net, lane, w, phase)
    else:
        ok = False
    if not ok:
        w.counts[3] += 1
        w.x[:] = 0.0
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
    put(w.v, v)
    put(w.i, i)
    w.heat[0] = math.sqrt(square)
    for f in range(w.warm.size):
        w.warm[f] = math.sqrt(w.warm[f])
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def solve(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """The operating point of one discrete state, or its means over a period of the pulsed drivers."""
    if pulses(net, lane, w):
        return bool(_averaged(net, lane, w, phase))
    ok = steady(net, lane, w, phase)
    constant(net, w)
    return bool(ok)
