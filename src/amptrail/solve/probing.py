"""Readings at the end of a phase (compiled): from the network seen by the instrument, or settled again.

Every reading is the circuit with the instrument in it, everything settled. Most need no new solution: the
linear network at the solved point gives the source resistance R of every point at once, and so where the
instrument would bring the point. That *is* the new solution when nothing bends or switches on the way, which
is proved by bounds, not assumed: all conductances being positive, no two nodes anywhere move apart by more
than the two ends of the instrument do, no branch current moves by more than the instrument's, and the bend
of the laws moves no voltage by more than the sum of (curvature x move squared). Where the laws bend more,
they alone are solved again: the linear network as their ends and the instrument's see it stays (`_bent`), and
what the laws still miss over their slopes bounds what is missing anywhere, as in Newton's own test. Where
something switches, or that comes to no end, the circuit is solved again, starting from the prediction, and
relays, modules and fuses settle again.

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
from amptrail.solve.kernel import Out, connected, fetch, home, lane_of, load, ready
from amptrail.solve.logic import advance_all, room
from amptrail.solve.newton import NEXT_MOVE_V, ROUNDED_A, constant, currents, pulses, tangent
from amptrail.solve.plain import put
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.settle import BLOWS_AT, CHATTER, NOT_CONVERGED, SETTLED, settle
from amptrail.solve.trail import Trail, unwalked

EXACT_V = 1e-11  # what the bend of the laws may move a reading that is not solved again
PORTS = 40  # bent branches up to which the network is reduced to their ends (their square is worked through)
BENT_ROUNDS = 12
SHRINKS = 0.3  # a round of them that takes away less is left to Newton
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
            bends += laws.LAMP_BEND / p[0]
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
    """How far any voltage (V) and any current (A) may move before some state would switch, fuses too."""
    volts, amps = room(net, lane, w)
    for f in range(net.fuse_branch.size):
        amps = min(amps, abs(BLOWS_AT * lane.rating[f] - abs(w.i[net.fuse_branch[f]])))
    return volts, amps


@njit(cache=True, nogil=True, error_model="numpy")
def _rests(net: Static, lane: Lane, w: Work, phase: int, t: float) -> bool:
    """Whether the solution in w keeps every state as it is."""
    advance_all(net, lane, w, phase, t)
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
def _ports(
    net: Static, lane: Lane, w: Work, count: int, ports: Array, between: Array, s: Array, y: Array
) -> None:
    """The network as the bent branches see it: ports[n, node], volts for 1 A in at the ends of bent branch n;
    between[n, m], those across branch n for 1 A in at branch m."""
    for n in range(count):
        b = w.bent[n]
        unit_volts(w.plan, w, lane.na[b], lane.nb[b], net.ground, s, y)
        put(ports[n], y)
    for n in range(count):
        b = w.bent[n]
        for m in range(count):
            between[n, m] = ports[m, lane.na[b]] - ports[m, lane.nb[b]]


@njit(cache=True, nogil=True, error_model="numpy")
def _copied(net: Static, lane: Lane, w: Work, count: int, lifts: Array, amps: float) -> bool:
    """Whether `amps` through the instrument, which move bent branch n by -amps * lifts[n], leave every copied
    current (to 10 nA)."""
    for r in range(net.refs.shape[0]):
        b, copy = net.refs[r, 0], net.refs[r, 1]
        step = w.i[b] - lane.p[copy, 0]
        for n in range(count):
            if w.bent[n] == b:
                step -= w.bg[b] * amps * lifts[n]
        if abs(step) >= ROUNDED_A:
            return False
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def _bent(
    lane: Lane, w: Work, count: int, ports: Array, between: Array, lifts: Array, a: int, b: int, kind: int,
    p: Array, open_v: float, ohm: float, more: Array, off: Array,
) -> tuple[float, float]:  # fmt: skip
    """(volts, amperes) of an instrument when the laws bend: rounds of what each law gives more (`more`, A)
    than its tangent, sent through the network at rest. Amperes nan: they do not come to rest soon."""
    more[:] = 0.0
    last = math.inf
    for _ in range(BENT_ROUNDS):
        at = open_v
        for n in range(count):
            at -= more[n] * (ports[n, a] - ports[n, b])
        here, _, current = drawn(kind, p, at, ohm)
        if not math.isfinite(current):
            break
        bound = 0.0
        for n in range(count):
            e = w.bent[n]
            law, r = lane.kind[e], w.br[e]
            u = w.v[lane.na[e]] - w.v[lane.nb[e]] - current * lifts[n]
            for m in range(count):
                u -= more[m] * between[n, m]
            flows = w.bg[e] * u + w.bj[e] + more[n]
            q = lane.p[e]
            i, slope = laws.current(law, u - r * flows, q[0], q[1], q[2], q[3])
            miss = i - flows
            if law not in (laws.LAMP, laws.DIODE) and slope == w.law_s[e] and more[n] == 0.0:
                miss = 0.0  # on the same straight piece
            off[n] = miss / (1.0 + slope * r)
            if miss != 0.0:
                bound += abs(miss) / slope
        if bound < NEXT_MOVE_V:
            return here, current
        if not bound < SHRINKS * last:
            break
        last = bound if last < math.inf else 1e6 * bound  # the first move may be large
        for n in range(count):
            more[n] += off[n]
    return open_v, math.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _rests_with(
    net: Static, lane: Lane, w: Work, phase: int, t: float, count: int, ports: Array, more: Array, y: Array,
    amps: float, base_v: Array, base_i: Array,
) -> bool:  # fmt: skip
    """Whether every state stays as it is with `amps` through the instrument and the laws' `more` amperes."""
    put(base_v, w.v)
    put(base_i, w.i)
    for k in range(net.nodes):
        w.v[k] -= amps * y[k]
        for n in range(count):
            w.v[k] -= more[n] * ports[n, k]
    currents(lane.kind, lane.na, lane.nb, w.v, w.bg, w.bj, w.extra, w.i)
    for n in range(count):
        w.i[w.bent[n]] += more[n]
    constant(net, w)
    rests = _rests(net, lane, w, phase, t)
    put(w.v, base_v)
    put(w.i, base_i)
    return rests


@njit(cache=True, nogil=True, error_model="numpy")
def _answer(
    w: Work, status: int, a: int, b: int, base: Array, settled: bool, value: Array, low: Array, high: Array,
    got: Array, changed: Array, n: int, k: int, m: int, heated: bool,
) -> None:  # fmt: skip
    across = w.v[a] - w.v[b]
    got[n, k, m] = status
    value[n, k, m] = low[n, k, m] = high[n, k, m] = math.copysign(w.heat[0], across) if heated else across
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
    k: int, most: float, ohm: Array, arm: Array, s: Array, y: Array, ports: Array, between: Array,
    lifts: Array, more: Array, off: Array, base_v: Array, base_i: Array,
    alone: Trail,
) -> None:  # fmt: skip
    """Every tap asked of lane n at the end of phase slot k. `w` keeps the network without an instrument."""
    probe, ground, met, plan = lane.kind.size - 1, net.ground, runs.status[n, k], w.plan
    t = load(net, lane, w, runs, n, k)
    known = seen = False
    count = 0
    volts = amps = calm = corner = bends = 0.0
    if met < CHATTER and not pulses(net, lane, w):
        count = tangent(net, lane, w, phase)
        known = _rests(net, lane, w, phase, t)
        corner, calm, bends = _kinks(lane, w, count)
        volts, amps = _room(net, lane, w)
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
            open_v, r, fresh = w.v[a] - w.v[b], ohm[a], b != ground
            if fresh:
                unit_volts(plan, w, a, b, ground, s, y)
                r = y[a] - y[b]
            across, element, current = drawn(kinds[m], params[m], open_v, r)
            moved = abs(current) * r
            if most > 0.0:
                small = moved < min(volts, corner, calm) and abs(current) < amps
                small = small and bends * moved * moved < most
                small = small and (net.refs.shape[0] == 0 or abs(current) < 1e-3 * ROUNDED_A)
                if not small and count <= PORTS:
                    if not seen:
                        _ports(net, lane, w, count, ports, between, s, y)
                        seen, fresh = True, False
                    for c in range(count):
                        lifts[c] = ports[c, a] - ports[c, b]  # by reciprocity
                    if _copied(net, lane, w, count, lifts, current):
                        bent_v, bent_a = _bent(
                            lane, w, count, ports, between, lifts, a, b, kinds[m], params[m], open_v, r,
                            more, off,
                        )  # fmt: skip
                        small = abs(bent_v - open_v) < volts and abs(bent_a) < amps
                        if not small and math.isfinite(bent_a):
                            if not fresh:
                                unit_volts(plan, w, a, b, ground, s, y)
                                fresh = True
                            small = _rests_with(
                                net, lane, w, phase, t, count, ports, more, y, bent_a, base_v, base_i
                            )
                        across = bent_v if small else across
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
        got = settle(net, lane, here, phase, t, alone)
        _answer(here, got, a, b, runs.state[n, k], met < CHATTER, value, low, high, status, changed, n, k, m,
            kinds[m] == laws.LAMP)  # fmt: skip
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
    ports, between = np.zeros((PORTS, nodes)), np.zeros((PORTS, PORTS))
    lifts, more, off = np.zeros(PORTS), np.zeros(PORTS), np.zeros(PORTS)
    base_v, base_i = np.zeros(nodes), np.zeros(lanes.kind.shape[1])
    lane, alone = held(lane_of(lanes, first)), held(unwalked())
    mine, second = home(net, lane), home(net, lane)
    other, another = mine, second
    made_for = np.full((4, lane.na.size), -1, np.int32)
    for n in range(first, last):
        fetch(lanes, n, lane)
        plain, other = ready(net, lane, mine, other, made_for[0], made_for[1])
        spare, another = ready(net, lane, second, another, made_for[2], made_for[3])
        arm = np.zeros(plain.g.size)
        for k in range(phases.size):
            wanted = False
            for m in range(taps.shape[0]):
                wanted |= asked[k, m] != 0
            if not wanted:
                continue
            _phase(
                net, lane, plain, spare, phases[k], runs, taps, kinds, params, asked, value, low, high,
                status, changed, n, k, most, ohm, arm, s, y, ports, between, lifts, more, off, base_v,
                base_i, alone,
            )  # fmt: skip
