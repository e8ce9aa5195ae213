"""The DC operating point of one discrete state: safe Newton over star-mesh sweeps (compiled)."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.elimination import eliminate
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
from amptrail.solve.records import Array, Lane, Static, Work

WARM_SWEEPS = 12
COLD_SWEEPS = 40
SEARCH_STEPS = 200  # Newton steps with a line search, after which there is no answer
SEARCH_HALVINGS = 80
LEAK_S = 1e-9  # every node has 1 gigaohm to BAT.-
MOVED_V = 1e-9  # a part of 1 microhm turns the rounding of 16 V into nanoamperes; 1 nV is far above rounding
COPIED_A = 1e-8  # a reference's current and its copy at the supply: 1 nV in 0.1 ohm
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
def linear(net: Static, lane: Lane, state: Array, b: int) -> tuple[float, float]:
    """(ohm, volts) of a linear branch in this state: current = (u - volts)/ohm."""
    gate, unit = net.gate[b], net.unit[b]
    r, e = lane.p[b, 0], 0.0
    at = net.at
    if gate == DRIVER:
        on = state[at[3] + unit]
        r = lane.p[b, 0] / max(lane.p[b, 2], 1e-12) if on else lane.p[b, 1]
    elif gate == LOWSIDE:  # the lower half of a half bridge: on while awake and not requested
        module = int(lane.p[b, 3])
        on = state[at[2] + module] and not state[at[3] + unit]
        r = lane.p[b, 0] if on else lane.p[b, 1]
    elif gate == SUPPLY:
        r = lane.p[b, 0] if state[at[2] + unit] else lane.p[b, 1]
    elif gate == PULL and state[at[2] + unit]:
        e = lane.p[b, 1]
    return max(r, MIN_OHM) + lane.series[b], e


@njit(cache=True, nogil=True, error_model="numpy")
def prepare(net: Static, lane: Lane, w: Work, phase: int) -> None:
    """What no Newton step changes: siemens (-1: does not conduct) and source amperes of linear branches in
    w.bg and w.bj, series ohms of the others in w.br. Done once a solve: passing the tuples of arrays to a
    function costs more than the arithmetic in it."""
    state, gates, units, kinds, p = w.state, net.gate, net.unit, lane.kind, lane.p
    series, opened, g, c, r = lane.series, lane.open, w.bg, w.bj, w.br
    w.i[:] = 0.0
    g[:] = -1.0
    c[:] = 0.0
    for b in range(kinds.size):
        kind, gate = kinds[b], gates[b]
        if kind == NONE or opened[b]:
            continue
        if gate != ALWAYS and not conducts(net, lane, phase, state, gate, units[b]):
            continue
        g[b] = 0.0
        if kind == RES:
            ohm, emf = max(p[b, 0], MIN_OHM) + series[b], 0.0
            if gate in (DRIVER, LOWSIDE, SUPPLY, PULL):
                ohm, emf = linear(net, lane, state, b)
            g[b] = 1.0 / ohm
            c[b] = -emf / ohm
        elif kind == CURRENT:
            c[b] = p[b, 0]
        else:
            r[b] = series[b] + (p[b, 2] if kind == laws.DIODE else 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def stamp(
    nodes: int, ground: int, kinds: Array, na: Array, nb: Array, p: Array, slot: Array, x: Array, br: Array,
    bg: Array, bj: Array, g: Array, J: Array,
) -> None:  # fmt: skip
    """Every conducting branch into the edges g, J, nonlinear ones by their tangent at x."""
    g[:] = 0.0
    J[:] = 0.0
    for n in range(nodes):
        if n != ground:
            g[slot[n, ground]] = LEAK_S
    for b in range(kinds.size):
        if bg[b] < 0.0:
            continue
        kind = kinds[b]
        if kind not in (RES, CURRENT):
            r = br[b]
            i, s = laws.current(kind, x[b], p[b, 0], p[b, 1], p[b, 2], p[b, 3])
            bg[b] = s / (1.0 + s * r)
            bj[b] = i - bg[b] * (x[b] + r * i)
        i0, j0 = na[b], nb[b]
        if i0 != j0:
            t = slot[i0, j0]
            g[t] += bg[b]
            J[t] += bj[b] if i0 < j0 else -bj[b]


@njit(cache=True, nogil=True, error_model="numpy")
def judge(
    kinds: Array, na: Array, nb: Array, p: Array, v: Array, x: Array, br: Array, bg: Array, bj: Array,
    amps: Array,
) -> tuple[float, float, float]:  # fmt: skip
    """Branch currents and the next x: (largest move V, largest law mismatch A, largest branch current A)."""
    moved = mismatch = biggest = 0.0
    for b in range(kinds.size):
        if bg[b] < 0.0:
            continue
        i = bg[b] * (v[na[b]] - v[nb[b]]) + bj[b]
        amps[b] = i
        biggest = max(biggest, abs(i))
        kind = kinds[b]
        if kind in (RES, CURRENT):
            continue
        old = x[b]
        new = (v[na[b]] - v[nb[b]]) - br[b] * i
        new = laws.limited(kind, old, new, p[b, 0], p[b, 1], p[b, 2])
        moved = max(moved, abs(new - old))
        x[b] = new
        true, _ = laws.current(kind, new, p[b, 0], p[b, 1], p[b, 2], p[b, 3])
        mismatch = max(mismatch, abs(true - i))
    return moved, mismatch, biggest


@njit(cache=True, nogil=True, error_model="numpy")
def sweep(net: Static, lane: Lane, w: Work) -> tuple[float, float, float]:
    """One Newton step after `prepare`: (largest move V, law mismatch A, branch current A)."""
    kinds, na, nb, p = lane.kind, lane.na, lane.nb, lane.p
    stamp(net.nodes, net.ground, kinds, na, nb, p, w.slot, w.x, w.br, w.bg, w.bj, w.g, w.J)
    eliminate(net.nodes, net.ground, w.slot, w.order, w.start, w.near, w.g, w.J, w.v)
    return judge(kinds, na, nb, p, w.v, w.x, w.br, w.bg, w.bj, w.i)


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
    w.v[:] = at + t * step
    exact(lane, w, w.v)
    leftover(net.nodes, net.ground, lane.na, lane.nb, w.bg, w.v, w.i, w.left)
    slope = 0.0
    for n in range(net.nodes):
        slope += w.left[n] * step[n]
    return slope


@njit(cache=True, nogil=True, error_model="numpy")
def search(net: Static, lane: Lane, w: Work) -> bool:
    """Newton on node volts with a line search on the co-content, the sum of the integrals of all laws.

    Every law is non-falling, so the co-content is convex with its one minimum at the operating point (Millar
    1951; from memory), and a Newton step always leads downhill: no circuit of such parts can defeat it.
    """
    at, step = np.zeros(net.nodes), np.zeros(net.nodes)
    for _ in range(SEARCH_STEPS):
        exact(lane, w, at)
        na, nb = lane.na, lane.nb
        stamp(net.nodes, net.ground, lane.kind, na, nb, lane.p, w.slot, w.x, w.br, w.bg, w.bj, w.g, w.J)
        eliminate(net.nodes, net.ground, w.slot, w.order, w.start, w.near, w.g, w.J, w.v)
        w.counts[0] += 1
        step[:] = w.v - at
        low, high = 0.0, 1.0
        t = 1.0
        if _downhill(net, lane, w, at, step, 1.0) > 0.0:
            for _ in range(SEARCH_HALVINGS):
                t = 0.5 * (low + high)
                if _downhill(net, lane, w, at, step, t) > 0.0:
                    high = t
                else:
                    low = t
                if high - low < 1e-2 * low:
                    break
            t = low if low > 0.0 else high
        at += t * step
        w.v[:] = at
        biggest = exact(lane, w, at)
        most = leftover(net.nodes, net.ground, lane.na, lane.nb, w.bg, at, w.i, w.left)
        if np.max(np.abs(step)) < MOVED_V and most < LEFT_A + LEFT * biggest:
            return math.isfinite(biggest)
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def newton(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Iterate from the warm start w.x; cold after 12 sweeps; a line search after 40 cold ones. True: an
    answer that keeps Kirchhoff's current law at every node."""
    prepare(net, lane, w, phase)
    done = False
    biggest = 0.0
    for k in range(WARM_SWEEPS + COLD_SWEEPS):
        if k == WARM_SWEEPS:
            w.x[:] = 0.0
            w.counts[1] += 1
        moved, mismatch, biggest = sweep(net, lane, w)
        w.counts[0] += 1
        if moved < MOVED_V and mismatch < LEFT_A + LEFT * biggest:
            done = math.isfinite(biggest)
            break
    if not done:
        w.counts[2] += 1
        return search(net, lane, w)
    most = leftover(net.nodes, net.ground, lane.na, lane.nb, w.bg, w.v, w.i, w.left)
    if most < LEFT_A + LEFT * biggest:
        return True
    w.counts[5] += 1
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def solve(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Operating point, references included: their current is copied to the supply one round late, to 10 nA.

    Each round shrinks what is missing by about one factor: the rest of that series is taken at once (Aitken).
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
        if change < COPIED_A or not ok:
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
