"""The DC operating point of one discrete state: safe Newton over star-mesh sweeps (compiled)."""

from __future__ import annotations

import math

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
LAST_SWEEPS = 400
LEAK_S = 1e-9  # every node has 1 gigaohm to BAT.-


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
    amps: Array, damp: float,
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
        new = old + damp * (new - old)
        moved = max(moved, abs(new - old))
        x[b] = new
        true, _ = laws.current(kind, new, p[b, 0], p[b, 1], p[b, 2], p[b, 3])
        mismatch = max(mismatch, abs(true - i))
    return moved, mismatch, biggest


@njit(cache=True, nogil=True, error_model="numpy")
def sweep(net: Static, lane: Lane, w: Work, damp: float) -> tuple[float, float, float]:
    """One Newton step after `prepare`: (largest move V, law mismatch A, branch current A)."""
    kinds, na, nb, p = lane.kind, lane.na, lane.nb, lane.p
    stamp(net.nodes, net.ground, kinds, na, nb, p, w.slot, w.x, w.br, w.bg, w.bj, w.g, w.J)
    eliminate(net.nodes, net.ground, w.slot, w.order, w.start, w.near, w.g, w.J, w.v)
    return judge(kinds, na, nb, p, w.v, w.x, w.br, w.bg, w.bj, w.i, damp)


@njit(cache=True, nogil=True, error_model="numpy")
def newton(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Iterate from the warm start w.x; cold after 12 sweeps; damped after 40 cold ones. True: converged."""
    damp = 1.0
    prepare(net, lane, w, phase)
    for k in range(LAST_SWEEPS):
        if k == WARM_SWEEPS:
            w.x[:] = 0.0
            w.counts[1] += 1
        if k >= WARM_SWEEPS + COLD_SWEEPS and (k - WARM_SWEEPS - COLD_SWEEPS) % 60 == 0:
            damp *= 0.5
            w.counts[2] += 1
        moved, mismatch, biggest = sweep(net, lane, w, damp)
        w.counts[0] += 1
        # A part of 1 microhm turns the rounding of 16 V into nanoamperes; 1 nV is far above rounding.
        if moved < 1e-9 * damp and mismatch < 1e-6 + 1e-9 * biggest:
            return math.isfinite(biggest)
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def solve(net: Static, lane: Lane, w: Work, phase: int) -> bool:
    """Operating point, references included: their current is copied to the supply one round late, to 1 uA."""
    w.counts[4] += 1
    ok = newton(net, lane, w, phase)
    share = 1.0
    last = math.inf
    for _ in range(60):
        change = 0.0
        for r in range(net.refs.shape[0]):
            b, copy = net.refs[r, 0], net.refs[r, 1]
            step = w.i[b] - lane.p[copy, 0]
            change = max(change, abs(step))
        if change < 1e-6 or not ok:
            break
        if change > 0.9 * last:
            share *= 0.5
        last = change
        for r in range(net.refs.shape[0]):
            b, copy = net.refs[r, 0], net.refs[r, 1]
            lane.p[copy, 0] += share * (w.i[b] - lane.p[copy, 0])
        ok = newton(net, lane, w, phase)
    else:
        ok = False
    if not ok:
        w.counts[3] += 1
        w.x[:] = 0.0
    return ok
