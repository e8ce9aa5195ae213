"""Readings at the end of a phase (compiled): from the network seen by the instrument, or settled again.

Every reading is the circuit with the instrument in it, everything settled. Most need no new solution: the
linear network at the solved point gives the source resistance R of every point at once, and so where the
instrument would bring the point. That *is* the new solution when nothing bends or switches on the way, which
is proved by bounds, not assumed: all conductances being positive, no two nodes anywhere move apart by more
than the two ends of the instrument do, no branch current moves by more than the instrument's, and the bend
of the laws moves no voltage by more than the sum of (curvature x move squared). Where a bound does not hold
the circuit is solved again, starting from that prediction, and relays, modules and fuses settle again.

Source of the resistances: sparse inverse on the pattern of the factors (Takahashi, Fagan and Chen 1973; from
memory). Checked against plain re-solving in tests/solve.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.elimination import Plan, injected
from amptrail.solve.held import held
from amptrail.solve.kernel import Out, connected, lane_of, load, workspace
from amptrail.solve.logic import advance
from amptrail.solve.newton import ROUNDED_A, tangent
from amptrail.solve.plain import put
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.settle import BLOWS_AT, CHATTER, NOT_CONVERGED, SETTLED, settle

EXACT_V = 1e-11  # what the bend of the laws may move a reading that is not solved again
LAMP_BEND = 70.0  # half of the greatest |i''/i'| of a lamp times its rated volts (68.2), rounded up
DIODE_BEND = 0.9  # half of i''/i' x n kT/q = 1/2 of a diode, over a move of half n kT/q (e^0.5 more)


@njit(cache=True, nogil=True, error_model="numpy")
def source_ohms(
    order: Array, start: Array, near: Array, target: Array, pair: Array, g: Array, inverse: Array, ohm: Array,
    arm: Array,
) -> None:  # fmt: skip
    """ohm[node] to ground of an eliminated network, sources silent; `arm` is scratch (transfer ohms)."""
    for k in range(order.size - 1, -1, -1):
        lo, hi = start[k], start[k + 1]
        for p in range(lo, hi):
            arm[p] = 0.0
        # Z[k, j] = sum over arms p of g[p]/total * Z[p, j]; the last arm is ground: nothing
        at = pair[k]
        for p in range(lo, hi - 1):
            w = g[p] * inverse[k]
            arm[p] += w * ohm[near[p]]
            for q in range(p + 1, hi):
                if q < hi - 1:
                    z = arm[target[at]]
                    arm[q] += w * z
                    arm[p] += g[q] * inverse[k] * z
                at += 1
        own = inverse[k]
        for p in range(lo, hi - 1):
            own += g[p] * inverse[k] * arm[p]
        ohm[order[k]] = own


@njit(cache=True, nogil=True, error_model="numpy")
def _kinks(lane: Lane, w: Work, count: int) -> tuple[float, float, float]:
    """(V to the nearest corner of a law, V any diode may move for its bound to hold, sum of bends 1/V)."""
    corner = calm = math.inf
    bends = 0.0
    for n in range(count):
        b = w.bent[n]
        kind, x, p = lane.kind[b], w.x[b], lane.p[b]
        if kind == laws.LAMP:
            bends += LAMP_BEND / p[0]
        elif kind == laws.DIODE:
            width = p[1] * laws.THERMAL_V
            bends += DIODE_BEND / width
            calm = min(calm, 0.5 * width)
        elif kind == laws.MOTOR:
            corner = min(corner, abs(abs(x) - p[0] * p[1]))
        elif kind == laws.BATTERY:
            corner = min(corner, abs(x + p[0]))
        elif kind == laws.ONEWAY:
            corner = min(corner, abs(x + p[0]), abs(x + p[0] - p[2] * max(p[1], laws.MIN_OHM)))
        else:
            corner = min(corner, abs(abs(x) - p[1] * max(p[0], laws.MIN_OHM)))
    return corner, calm, bends


@njit(cache=True, nogil=True, error_model="numpy")
def _room(net: Static, lane: Lane, w: Work) -> tuple[float, float]:
    """How far any voltage (V) and any current (A) may move before some state would switch."""
    at, state = net.at, w.state
    volts = amps = math.inf
    for r in range(net.coil.size):
        b = net.coil[r]
        edge = lane.pull_drop[r, 1] if state[at[0] + r] else lane.pull_drop[r, 0]
        volts = min(volts, abs(abs(w.i[b]) * lane.p[b, 0] - edge))
    for m in range(net.mod_ground.size):
        row = net.mod_range[m]
        ground = w.v[net.mod_ground[m]]
        for s in range(row[0], row[1]):
            volts = min(volts, abs(w.v[net.sup_node[s]] - ground - lane.least[s]))
        for i in range(row[2], row[3]):
            edge = lane.level[i, 1] if state[at[7] + i] else lane.level[i, 0]
            volts = min(volts, abs(w.v[net.in_node[i]] - ground - edge))
    for d in range(net.drv_branch.size):
        if state[at[3] + d]:
            amps = min(amps, abs(abs(w.i[net.drv_branch[d]]) - lane.limit[d]))
    for a in range(net.field.size):
        if net.field[a] >= 0:
            amps = min(amps, abs(w.i[net.field[a]] - lane.excite[a]))
    for f in range(net.fuse_branch.size):
        amps = min(amps, abs(BLOWS_AT * lane.rating[f] - abs(w.i[net.fuse_branch[f]])))
    return volts, amps


@njit(cache=True, nogil=True, error_model="numpy")
def _rests(net: Static, lane: Lane, w: Work, phase: int, t: float) -> bool:
    """Whether the solution in w keeps every state as it is."""
    put(w.new, w.state)
    for part in range(net.parts.shape[0]):
        advance(net, lane, w, part, phase, t)
    for k in range(w.state.size):
        if w.new[k] != w.state[k]:
            return False
    for f in range(net.fuse_branch.size):
        if not w.state[net.at[5] + f] and abs(w.i[net.fuse_branch[f]]) > BLOWS_AT * lane.rating[f]:
            return False
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def drawn(kind: int, p: Array, open_v: float, ohm: float) -> tuple[float, float, float]:
    """(volts at its ends, volts of its element, amperes) of an instrument on `open_v` behind `ohm`; the
    amperes are nan where Newton, kept between bounds, finds none."""
    if kind == laws.RES:
        r = max(p[0], laws.MIN_OHM)
        u = open_v * (r / (r + ohm))
        return u, u, open_v / (r + ohm)
    own = p[2] if kind == laws.DIODE else 0.0  # behind the law
    low, high = min(0.0, open_v), max(0.0, open_v)
    u = 0.5 * open_v
    if kind == laws.DIODE and open_v > 0.0:  # from above: the law is convex
        u = min(open_v, p[1] * laws.THERMAL_V * math.log1p(open_v / (ohm + own) / p[0]))
    for _ in range(100):
        i, s = laws.current(kind, u, p[0], p[1], p[2], p[3])
        off = u + (ohm + own) * i - open_v
        if off > 0.0:
            high = u
        else:
            low = u
        step = off / (1.0 + (ohm + own) * s)
        u -= step
        if abs(step) < 1e-12:
            i -= step * s
            return open_v - ohm * i, u, i
        if not low <= u <= high:
            u = 0.5 * (low + high)
    return open_v, 0.0 if kind == laws.DIODE else open_v, math.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _small(net: Static, lane: Lane, w: Work, count: int, y: Array, amps: float, most: float) -> bool:
    """Whether `amps` through the instrument, which move node k by -amps * y[k], bend no reading by more
    than `most` volts and leave every copied current (to 10 nA)."""
    total = 0.0
    for n in range(count):
        b = w.bent[n]
        kind = lane.kind[b]
        if kind not in (laws.LAMP, laws.DIODE):
            continue
        d = abs(amps * (y[lane.na[b]] - y[lane.nb[b]]))
        if kind == laws.LAMP:
            total += LAMP_BEND / lane.p[b, 0] * d * d
        else:
            width = lane.p[b, 1] * laws.THERMAL_V
            total += math.inf if d > 0.5 * width else DIODE_BEND / width * d * d
    for r in range(net.refs.shape[0]):
        b, copy = net.refs[r, 0], net.refs[r, 1]
        step = w.i[b] - lane.p[copy, 0]
        if w.bg[b] > 0.0:
            step -= w.bg[b] * amps * (y[lane.na[b]] - y[lane.nb[b]])
        if abs(step) >= ROUNDED_A:
            return False
    return total < most


@njit(cache=True, nogil=True, error_model="numpy")
def _answer(
    w: Work, status: int, a: int, b: int, base: Array, settled: bool, value: Array, low: Array, high: Array,
    got: Array, changed: Array, n: int, k: int, m: int,
) -> None:  # fmt: skip
    got[n, k, m] = status
    value[n, k, m] = low[n, k, m] = high[n, k, m] = w.v[a] - w.v[b]
    if status == CHATTER:
        low[n, k, m], high[n, k, m] = w.span[0], w.span[1]
    elif status < CHATTER and settled:
        for s in range(base.size):
            changed[n, k, m, s] = w.state[s] != base[s]


@njit(cache=True, nogil=True, error_model="numpy")
def unit_volts(plan: Plan, w: Work, a: int, b: int, ground: int, s: Array, y: Array) -> None:
    """y: volts of every node when 1 A goes in at a and out at b, every source silent."""
    s[:] = 0.0
    s[a] += 1.0
    s[b] -= 1.0
    injected(plan.order, plan.start, plan.near, w.g, w.inverse, s, y, ground)


@njit(cache=True, nogil=True, error_model="numpy")
def _phase(
    net: Static, lane: Lane, w: Work, spare: Work, phase: int, runs: Out, taps: Array, kinds: Array,
    params: Array, asked: Array, value: Array, low: Array, high: Array, status: Array, changed: Array, n: int,
    k: int, most: float, ohm: Array, arm: Array, s: Array, y: Array,
) -> None:  # fmt: skip
    """Every tap asked of lane n at the end of phase slot k. `w` keeps the network without an instrument."""
    probe, ground, met, plan = lane.kind.size - 1, net.ground, runs.status[n, k], w.plan
    t = load(net, lane, w, runs, n, k)
    known = False
    count = 0
    volts = amps = calm = bends = 0.0
    if met < CHATTER:
        count = tangent(net, lane, w, phase)
        known = _rests(net, lane, w, phase, t)
        corner, calm, bends = _kinks(lane, w, count)
        volts, amps = _room(net, lane, w)
        volts = min(volts, corner)
        source_ohms(plan.order, plan.start, plan.near, plan.target, plan.pair, w.g, w.inverse, ohm, arm)
        ohm[ground] = 0.0
    for m in range(taps.shape[0]):
        if not asked[k, m]:
            continue
        if met == NOT_CONVERGED:
            status[n, k, m] = NOT_CONVERGED
            continue
        a, b = taps[m, 0], taps[m, 1]
        current = math.nan
        across = element = runs.volts[n, k, a] - runs.volts[n, k, b]
        if known:
            r, fresh = ohm[a], b != ground
            if fresh:
                unit_volts(plan, w, a, b, ground, s, y)
                r = y[a] - y[b]
            across, element, current = drawn(kinds[m], params[m], w.v[a] - w.v[b], r)
            moved = abs(current) * r
            if moved < volts and abs(current) < amps:
                small = moved < calm and bends * moved * moved < most
                small = small and (net.refs.shape[0] == 0 or abs(current) < 1e-3 * ROUNDED_A)
                if not small:
                    if not fresh:
                        unit_volts(plan, w, a, b, ground, s, y)
                        fresh = True
                    small = _small(net, lane, w, count, y, current, most)
                if small:
                    value[n, k, m] = low[n, k, m] = high[n, k, m] = across
                    status[n, k, m] = SETTLED
                    continue
            if not fresh:
                unit_volts(plan, w, a, b, ground, s, y)
        lane.kind[probe] = kinds[m]
        lane.p[probe] = params[m]
        here = connected(net, lane, spare, probe, a, b)
        load(net, lane, here, runs, n, k)
        here.tap[0], here.tap[1] = a, b
        if math.isfinite(current):
            for c in range(count):
                e = w.bent[c]
                here.x[e] -= current * (y[lane.na[e]] - y[lane.nb[e]]) / (1.0 + w.br[e] * w.law_s[e])
            here.x[probe] = element
        else:
            here.x[probe] = 0.0 if kinds[m] == laws.DIODE else across
        got = settle(net, lane, here, phase, t)
        _answer(here, got, a, b, runs.state[n, k], met < CHATTER, value, low, high, status, changed, n, k, m)
        lane.kind[probe] = laws.NONE
        load(net, lane, w, runs, n, k)


@njit(cache=True, nogil=True)
def read_lanes(
    net: Static, lanes: Lane, phases: Array, runs: Out, taps: Array, kinds: Array, params: Array,
    asked: Array, value: Array, low: Array, high: Array, status: Array, changed: Array, most: float,
    first: int, last: int,
) -> None:  # fmt: skip
    """Connect each tap's instrument at the end of each phase where asked[phase, tap], settle with time
    stopped, read its volts. taps[m] = nodes a, b; kinds[m], params[m] = the instrument as a branch.
    `changed` gets the state items it switched. A reading is not solved again where the laws' bend moves it by
    less than `most` volts and nothing switches; 0: all are."""
    nodes = net.nodes
    ohm, s, y = np.zeros(nodes), np.zeros(nodes), np.zeros(nodes)
    for n in range(first, last):
        lane = held(lane_of(lanes, n))
        plain, spare = held(workspace(net, lane)), held(workspace(net, lane))
        arm = np.zeros(plain.g.size)
        for k in range(phases.size):
            wanted = False
            for m in range(taps.shape[0]):
                wanted |= asked[k, m] != 0
            if not wanted:
                continue
            _phase(
                net, lane, plain, spare, phases[k], runs, taps, kinds, params, asked, value, low, high,
                status, changed, n, k, most, ohm, arm, s, y,
            )  # fmt: skip
