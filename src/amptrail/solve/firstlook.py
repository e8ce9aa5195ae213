"""What a second fault would make of the readings of a lane: a first look, not an answer (compiled).

The network of a solved lane is linear around where it rests, loads that bend taken as the resistances they
are there. What another fault changes in it is a few branches (`second`). With z the volts across one of them
for 1 A at another and y the change of siemens, (1 + z y) u' = u - z j gives their new volts, and from those
every reading. What both faults switch only together is not seen, nor how far a load bends: whoever wants an
answer lives the lane. A microsecond each, where a lane takes 150.

Source: matrix identity of Sherman, Morrison and Woodbury (from memory); checked in tests/solve against lanes
that were lived.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from amptrail.solve import laws
from amptrail.solve.elimination import Plan, backward, forward
from amptrail.solve.held import held, hold
from amptrail.solve.kernel import Out, fetch, home, lane_of, load, ready
from amptrail.solve.network import Network
from amptrail.solve.newton import pulses, tangent
from amptrail.solve.plain import truth
from amptrail.solve.probing import drawn, source_ohms, unit_volts
from amptrail.solve.readings import OVER_RANGE_OHM, Tap, instrument_branch, tap_nodes
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.runs import Floats, Runs
from amptrail.solve.second import ADDED, MADE, MOST, OPENED, SERIES, SET, Seconds, unpowered
from amptrail.solve.settle import CHATTER
from amptrail.solve.stamping import regather
from amptrail.solve.threads import share

LEAST_LEFT = 1e-13  # of the volts of a branch opened, what the rest of the network has: less is rounding
FLOATS_OHM = 1e4
FIXED, A_NODE = 200.0, 0.04  # of a lane and phase, of a node a port: in second faults (measured)
VOLTS, AMPS, OHMS = range(3)


@njit(cache=True, nogil=True, error_model="numpy")
def _chords(lane: Lane, w: Work, count: int, ground: int) -> None:
    """Every load that bends as the resistance it has now, not as its tangent: the same solution, but what a
    second fault parts from its supply comes down to nothing. `count`: how many conduct (w.bent)."""
    plan, moved = w.plan, 0
    for n in range(count):
        b = w.bent[n]
        kind = lane.kind[b]
        across = w.v[lane.na[b]] - w.v[lane.nb[b]]
        load_ = kind == laws.LAMP or kind == laws.MOTOR or kind == laws.DIODE or kind == laws.SAT
        if load_ and w.i[b] * across > 0.0:
            w.bg[b], w.bj[b], w.extra[b] = w.i[b] / across, 0.0, 0.0
            w.moved[moved] = b
            moved += 1
    regather(lane, w, moved, truth(False))
    forward(
        plan.start, plan.pair, plan.rank, plan.near, plan.comes, plan.source, w.own_g, w.own_j, w.left_g,
        w.left_j, w.g, w.J, w.inverse, w.stale,
    )  # fmt: skip
    w.v[ground] = 0.0
    w.push[:] = 0.0
    backward(plan.order, plan.start, plan.near, w.g, w.J, w.inverse, w.v, w.push)


@njit(cache=True, nogil=True, error_model="numpy")
def _eliminate(a: Array, x: Array, count: int, sides: int) -> None:
    """Solve a[:count, :count] for the right sides x[:count, :sides] in place, largest pivot first."""
    for k in range(count):
        best = k
        for i in range(k + 1, count):
            if abs(a[i, k]) > abs(a[best, k]):
                best = i
        if best != k:
            for c in range(k, count):
                a[k, c], a[best, c] = a[best, c], a[k, c]
            for c in range(sides):
                x[k, c], x[best, c] = x[best, c], x[k, c]
        for i in range(k + 1, count):
            f = a[i, k] / a[k, k]
            if f != 0.0:
                for c in range(k + 1, count):
                    a[i, c] -= f * a[k, c]
                for c in range(sides):
                    x[i, c] -= f * x[k, c]
    for k in range(count - 1, -1, -1):
        for c in range(sides):
            for i in range(k + 1, count):
                x[k, c] -= a[k, i] * x[i, c]
            x[k, c] /= a[k, k]


@njit(cache=True, nogil=True, error_model="numpy")
def _change(
    kind: int, here: float, amps: float, g: float, j: float, ohm: float, z: float
) -> tuple[float, float, float]:
    """What one row does to a branch of `here` siemens (negative: it does not conduct) and `amps` of source,
    across which 1 A makes z volts: its change in S and in A, and 1 + z times the first."""
    if kind == ADDED or (kind == MADE and here <= 0.0):
        return g, j, 1.0 + z * g
    if kind == SET and here >= 0.0:
        return g - here, j - amps, 1.0 + z * (g - here)
    if kind in (OPENED, SERIES) and here > 0.0:
        r = ohm * here
        gone = r / (1.0 + r)
        left = (1.0 + r * max(1.0 - here * z, LEAST_LEFT)) / (1.0 + r)
        return -gone * here, -gone * amps, left
    return 0.0, 0.0, 1.0


@njit(cache=True, nogil=True, error_model="numpy")
def _put_in(
    bg: Array, bj: Array, v: Array, first: int, more: int, what: Array, branch: Array, port: Array, g: Array,
    j: Array, ohm: Array, ports: Array, wide: Array, y: Array, z: Array, across: Array, dg: Array, dj: Array,
    a: Array, x: Array,
) -> None:  # fmt: skip
    """What rows first to first + more change: dg, dj (S and A), and x[e, 0] their new volts, x[e, 1 + m]
    those for 1 A put in at tap m."""
    for e in range(more):
        c = first + e
        b, p = branch[c], port[c]
        here, amps = (bg[b], bj[b]) if b >= 0 else (-1.0, 0.0)
        dg[e], dj[e], a[e, e] = _change(what[c], here, amps, g[c], j[c], ohm[c], z[p])
    for e in range(more):
        p = port[first + e]
        x[e, 0] = v[ports[p, 0]] - v[ports[p, 1]]
        for d in range(more):
            q = wide[port[first + d]]
            between = y[q, ports[p, 0]] - y[q, ports[p, 1]]
            x[e, 0] -= between * dj[d]
            if d != e:
                a[e, d] = between * dg[d]
        for m in range(across.shape[1]):
            x[e, 1 + m] = across[p, m]
    _eliminate(a, x, more, 1 + across.shape[1])


@njit(cache=True, nogil=True, error_model="numpy")
def _at_rest(net: Static, lane: Lane, w: Work, phases: Array, runs: Out, n: int, k: int) -> bool:
    """Lane n linear around the end of slot k (the last: without power), eliminated; False: no first look."""
    if k < phases.size:
        load(net, lane, w, runs, n, k)
        if runs.status[n, k] >= CHATTER or pulses(net, lane, w):
            return False
        phase = phases[k]
    else:
        phase = unpowered(net, lane, w, runs, n)
    _chords(lane, w, tangent(net, lane, w, phase), net.ground)
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def _port_ohm(
    plan: Plan, i: int, j: int, ground: int, hub: int, of_hub: Array, ohm: Array, arm: Array
) -> float:
    """Ohms between two nodes where the eliminated network tells them as it is, else nan. ohm[node] to
    ground, arm: transfer ohms along the arms, of_hub[node] those to the node `hub`."""
    if i == ground or j == ground:
        return float(ohm[j] if i == ground else ohm[i])
    if max(ohm[i], ohm[j]) > FLOATS_OHM:  # what two large numbers differ by is rounding
        return math.nan
    if j == hub:
        return float(ohm[i] + ohm[j] - 2.0 * of_hub[i])
    first = i if plan.rank[i] < plan.rank[j] else j
    other = j if first == i else i
    k = plan.rank[first]
    for p in range(plan.start[k], plan.start[k + 1] - 1):
        if plan.near[p] == other:
            return float(ohm[i] + ohm[j] - 2.0 * arm[p])
    return math.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _as_seen(
    w: Work, ground: int, together: Array, wide: Array, hub: int, ports: Array, taps: Array, slots: Array,
    k: int, s: Array, t: Array, of_hub: Array, ohm: Array, arm: Array, from_tap: Array, y: Array, z: Array,
    across: Array, volts: Array, own: Array,
) -> None:  # fmt: skip
    """The network as the ports of slot k (together[port] > 0) and its taps see it: z[port] ohms,
    y[wide[port]] volts of every node for 1 A in at a port that others change with, across[port, m] volts at
    tap m for 1 A in at the port; volts[m] and own[m], the tap's volts and its source ohms."""
    plan = w.plan
    for m in range(taps.shape[0]):
        if slots[m] == k:
            unit_volts(plan, w, taps[m, 0], taps[m, 1], ground, s, from_tap[m])
            volts[m] = w.v[taps[m, 0]] - w.v[taps[m, 1]]
            own[m] = from_tap[m, taps[m, 0]] - from_tap[m, taps[m, 1]]
    source_ohms(plan.order, plan.start, plan.near, plan.target, plan.pair, w.g, w.inverse, ohm, arm)
    ohm[ground] = 0.0
    unit_volts(plan, w, hub, ground, ground, s, of_hub)
    for p in range(ports.shape[0]):
        if not together[p]:
            continue
        i, j = ports[p, 0], ports[p, 1]
        for m in range(taps.shape[0]):
            if slots[m] == k:
                across[p, m] = from_tap[m, i] - from_tap[m, j]  # by reciprocity
        if together[p] > 1:
            unit_volts(plan, w, i, j, ground, s, y[wide[p]])
            z[p] = y[wide[p], i] - y[wide[p], j]
            continue
        z[p] = _port_ohm(plan, i, j, ground, hub, of_hub, ohm, arm)
        if math.isnan(z[p]):
            unit_volts(plan, w, i, j, ground, s, t)
            z[p] = t[i] - t[j]


@njit(cache=True, nogil=True, error_model="numpy")
def _read(
    k: int, bg: Array, bj: Array, v: Array, known: Array, firsts: Array, what: Array, branch: Array,
    port: Array, g: Array, j: Array, ohm: Array, ports: Array, wide: Array, y: Array, z: Array,
    across: Array, volts: Array, own: Array, taps: Array, shows: Array, kinds: Array, params: Array,
    slots: Array, value: Array, source: Array, dg: Array, dj: Array, a: Array, x: Array,
) -> None:  # fmt: skip
    """value[fault, m] and source[fault, m] of the taps of slot k, each known fault put in."""
    for f in range(known.size):
        if not known[f]:
            continue
        first, more = firsts[f], firsts[f + 1] - firsts[f]
        p, flows, gain = 0, 0.0, 0.0
        if more == 1:  # most faults: no elimination
            p, b = port[first], branch[first]
            here, amps = (bg[b], bj[b]) if b >= 0 else (-1.0, 0.0)
            d, e, left = _change(what[first], here, amps, g[first], j[first], ohm[first], z[p])
            gain = d / left
            flows = gain * (v[ports[p, 0]] - v[ports[p, 1]] - z[p] * e) + e
        elif more > 1:
            _put_in(
                bg, bj, v, first, more, what, branch, port, g, j, ohm, ports, wide, y, z, across, dg, dj, a, x
            )
        for m in range(slots.size):
            if slots[m] != k:
                continue
            c = across[p, m]
            open_v, r = volts[m] - c * flows, own[m] - c * c * gain
            direct = flows if more == 1 and branch[first] == taps[m, 2] else 0.0
            for n in range(more if more > 1 else 0):
                flow = dg[n] * x[n, 0] + dj[n]
                c = across[port[first + n], m]
                open_v -= c * flow
                r -= c * dg[n] * x[n, 1 + m]
                if branch[first + n] == taps[m, 2]:
                    direct += flow
            r = max(r, 0.0)
            if shows[m] == VOLTS:
                value[f, m], _, _ = drawn(kinds[m], params[m], open_v, r)
                source[f, m] = r
            elif shows[m] == AMPS:
                b = taps[m, 2]
                value[f, m] = (bg[b] * open_v + bj[b] if bg[b] >= 0.0 else 0.0) + direct
            else:
                value[f, m] = min(r, OVER_RANGE_OHM)


@njit(cache=True, nogil=True, error_model="numpy")
def _look(
    net: Static, lanes: Lane, which: Array, phases: Array, runs: Out, taps: Array, shows: Array, kinds: Array,
    params: Array, slots: Array, known: Array, firsts: Array, what: Array, branch: Array, port: Array,
    g: Array, j: Array, ohm: Array, ports: Array, together: Array, hub: int, value: Array, source: Array,
    begin: int, end: int,
) -> None:  # fmt: skip
    """value[n, fault, m], source[n, fault, m]: see `first_look`. taps[m]: nodes and, of a clamp, the branch;
    shows[m]: VOLTS, AMPS, OHMS; slots[m]: the last one is without power. hub: the node most ports end at."""
    count, nodes = taps.shape[0], net.nodes
    wide, many = np.full(ports.shape[0], -1, np.int64), 0
    for p in range(ports.shape[0]):
        if together[:, p].max() > 1:
            wide[p] = many
            many += 1
    s, t, of_hub, node_ohm = np.zeros((4, nodes))
    y, from_tap = np.zeros((many, nodes)), np.zeros((count, nodes))
    z, across = np.zeros(max(ports.shape[0], 1)), np.zeros((max(ports.shape[0], 1), count))
    volts, own = np.zeros(count), np.zeros(count)
    dg, dj, a, x = np.zeros(MOST), np.zeros(MOST), np.zeros((MOST, MOST)), np.zeros((MOST, 1 + count))
    lane = held(lane_of(lanes, 0))
    mine = other = home(net, lane)
    made_for = np.full((2, lane.na.size), -1, np.int32)
    for n in range(begin, end):
        value[n], source[n] = math.nan, 0.0
        fetch(lanes, which[n], lane)
        w, other = ready(net, lane, mine, other, made_for[0], made_for[1])
        arm = np.zeros(w.g.size)
        for k in range(phases.size + 1):
            asked = False
            for m in range(count):
                asked |= slots[m] == k
            if not asked or not _at_rest(net, lane, w, phases, runs, which[n], k):
                continue
            _as_seen(
                w, net.ground, together[k], wide, hub, ports, taps, slots, k, s, t, of_hub, node_ohm, arm,
                from_tap, y, z, across, volts, own,
            )  # fmt: skip
            _read(
                k, w.bg, w.bj, w.v, known[k], firsts[k], what, branch, port, g, j, ohm, ports, wide, y, z,
                across, volts, own, taps, shows, kinds, params, slots, value[n], source[n], dg, dj, a, x,
            )  # fmt: skip


def first_look(
    network: Network,
    runs: Runs,
    which: Sequence[int] | NDArray[np.intp],
    faults: Seconds,
    asked: Sequence[tuple[Tap, int]],
) -> tuple[Floats, Floats]:
    """(value, source) [lane of `which`, fault, m]: what asked[m] = (tap, phase slot) would read on that lane
    of `runs` with each second fault, V, A or ohm, and the ohms behind a reading of volts. NaN: no first look
    (buzzing, pulsed, or the fault is not `known`)."""
    taps, params = np.full((len(asked), 3), -1, np.int64), np.zeros((len(asked), 4))
    shows, kinds, slots = np.zeros((3, len(asked)), np.int64)
    for m, (tap, slot) in enumerate(asked):
        slots[m] = slot
        if tap.instrument == "clamp":
            b = network.branch(tap.a)
            taps[m], shows[m] = (network.base.na[b], network.base.nb[b], b), AMPS
            continue
        taps[m, :2] = tap_nodes(network, tap)
        if tap.instrument == "ohmmeter":
            shows[m], slots[m] = OHMS, len(runs.phases)
            continue
        kinds[m], numbers = instrument_branch(tap)
        params[m, : len(numbers)] = numbers
    lanes = np.array(which, np.int64)
    value, source = np.zeros((2, len(lanes), faults.known.shape[1], len(asked)))
    net, every, kept = hold(network.static), hold(runs.lanes), hold(runs.snapshot)
    phases = np.array(runs.phases, np.int64)
    hub = int(np.bincount(faults.ports[:, 1]).argmax()) if len(faults.ports) else 0

    def piece(begin: int, end: int) -> None:
        _look(
            net, every, lanes, phases, kept, taps, shows, kinds, params, slots, faults.known, faults.first,
            faults.what, faults.branch, faults.port, faults.g, faults.j, faults.ohm, faults.ports,
            faults.together, hub, value, source, begin, end,
        )  # fmt: skip

    share(len(lanes), piece)
    return value, source


def work(faults: Seconds, runs: Runs, asked: Sequence[tuple[Tap, int]]) -> float:
    """What `first_look` of these readings costs a lane, in second faults with one branch."""
    slots = {k if t.instrument != "ohmmeter" else len(runs.phases) for t, k in asked}
    nodes, wide = runs.volts.shape[2], (faults.together > 1).any(axis=0)
    rows = sum(int(faults.first[k, -1] - faults.first[k, 0]) for k in slots)
    return float(rows + len(slots) * (FIXED + int(wide.sum()) * nodes * A_NODE))


__all__ = ["first_look", "work"]
