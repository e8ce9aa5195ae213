"""What every branch puts into the arms (compiled): kept, and summed again only where it changed.

`prepare` is done once a solve, for what no Newton step changes; `stamp` puts in a nonlinear branch by its
tangent. Both mark the pivots that are to be eliminated again.
"""

from __future__ import annotations

from numba import njit

from amptrail.solve import laws
from amptrail.solve.laws import (
    ALWAYS,
    BROKEN,
    CHARGE,
    CURRENT,
    DIODE,
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
from amptrail.solve.plain import truth, whole
from amptrail.solve.records import Array, Lane, Static, Work

LEAK_S = 1e-9  # every node has 1 gigaohm to BAT.-
# w.known: whether the lane is the one prepared last; counts of the three lists; the row of the trail it is
# at; whether what is in the arms was changed since the volts were found; a count of the fourth list
SAME, GATED, CURVED, CLIMB, ROW, STIRRED, WIDE = range(7)
FITS, MISSES, UNKNOWN = range(3)  # w.bends: the tangent in the arms; its law is known, or to be asked first


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
def _gather(
    every: bool, which: Array, count: int, edge: Array, sign: Array, rank: Array, start: Array, na: Array,
    nb: Array, first: Array, following: Array, bg: Array, bj: Array, own_g: Array, own_j: Array, stale: Array,
) -> None:  # fmt: skip
    """Sum again, from their branches, the arms of the branches which[:count] (`every`: the first `count`
    arms); the pivot of one that changed is stale. A function an arm would take and give back every array."""
    k = 0
    for n in range(count):
        t = n
        if every:
            while start[k + 1] <= t:
                k += 1
        else:
            t = edge[which[n]]
            if t < 0:
                continue
            k = min(rank[na[which[n]]], rank[nb[which[n]]])
        a = LEAK_S if t == start[k + 1] - 1 else 0.0
        c = 0.0
        e = first[t]
        while e >= 0:
            if bg[e] >= 0.0:
                a += bg[e]
                c += sign[e] * bj[e]
            e = following[e]
        if a != own_g[t] or c != own_j[t]:
            own_g[t], own_j[t] = a, c
            stale[k] = 1


@njit(cache=True, nogil=True, error_model="numpy")
def _hang(edge: Array, first: Array, following: Array) -> None:
    """Note which branches every arm has."""
    for t in range(first.size):
        first[t] = -1
    for b in range(edge.size - 1, -1, -1):
        t = edge[b]
        if t >= 0:
            following[b] = first[t]
            first[t] = b


@njit(cache=True, nogil=True, error_model="numpy")
def values(
    net: Static, lane: Lane, w: Work, phase: int, which: Array, count: int, into: Array
) -> int:  # fmt: skip
    """What the branches which[:count] give in this state; those that changed, their number back, are noted in
    `into`. A nonlinear one keeps its tangent; one that begins to conduct has none yet. The arrays are taken
    out once: every look into the tuples costs more than the arithmetic."""
    state, at, gates, units, kinds = w.state, net.at, net.gate, net.unit, lane.kind
    closed, switch, relay, p, series = net.closed[phase], lane.switch, lane.relay, lane.p, lane.series
    bg, bj, bends, extra, since = w.bg, w.bj, w.bends, w.extra, w.since[0]
    moved = 0
    relays, awake, drivers, fuses, charging = at[0], at[2], at[3], at[5], at[6]
    for n in range(count):
        b = which[n]
        gate, unit, kind = gates[b], units[b], kinds[b]
        on = True
        if gate == SWITCH:
            on = switch[unit] == 1 or (switch[unit] < 0 and closed[unit] == 1)
        elif gate in (MADE, BROKEN):
            made = state[relays + unit] == 1 if relay[unit] < 0 else relay[unit] == 1
            on = made == (gate == MADE)
        elif gate == REF:
            on = state[awake + unit] != 0
        elif gate == FUSE:
            on = state[fuses + unit] == 0
        elif gate == CHARGE:
            on = state[charging + unit] != 0
        g, j = -1.0, 0.0
        if on and kind == RES:
            ohm, emf = p[b, 0], 0.0
            if gate == DRIVER:
                if not (state[drivers + unit] and p[b, 2] > since):
                    ohm = p[b, 1]
            elif gate == LOWSIDE:
                upper = state[drivers + unit] and p[b, 2] > since
                if upper or not state[awake + int(p[b, 3])]:
                    ohm = p[b, 1]
            elif gate == SUPPLY:
                if not state[awake + unit]:
                    ohm = p[b, 1]
            elif gate == PULL and state[awake + unit]:
                emf = p[b, 1]
            ohm = max(ohm, MIN_OHM) + series[b]
            g, j = 1.0 / ohm, -emf / ohm
        elif on and kind == CURRENT:
            g, j = 0.0, p[b, 0]
        elif on and bg[b] < 0.0:
            bends[b] = UNKNOWN
            extra[b] = g = 0.0
        elif on:
            g, j = bg[b], bj[b]
        if g != bg[b] or j != bj[b]:
            bg[b], bj[b] = g, j
            into[moved] = b
            moved += 1
    return moved


@njit(cache=True, nogil=True, error_model="numpy")
def _anew(net: Static, lane: Lane, w: Work, phase: int) -> None:
    """All branches of a lane not known yet: which are switched, which bend, which pivots those hang on; arms
    summed."""
    kinds, gates, opened, p, bg, bj = lane.kind, net.gate, lane.open, lane.p, w.bg, w.bj
    there, gated, curved, br, series, extra = w.bent, w.gated, w.curved, w.br, lane.series, w.extra
    w.push[:] = 0.0  # other pivots may climb
    here = switched = bent = 0
    for b in range(kinds.size):
        kind, gate = kinds[b], gates[b]
        if kind == NONE or opened[b]:
            bg[b], bj[b] = -1.0, 0.0
            continue
        there[here] = b
        here += 1
        if kind != RES and kind != CURRENT:
            br[b] = series[b] + (p[b, 2] if kind == DIODE else 0.0)
            curved[bent] = b
            bent += 1
            bg[b] = -1.0  # its tangent is of another law
            extra[b] = 0.0
        if gate != ALWAYS or kind == CURRENT:
            gated[switched] = b
            switched += 1
    w.known[GATED], w.known[CURVED] = switched, bent
    values(net, lane, w, phase, there, whole(here), w.moved)
    plan = w.plan
    last = plan.order.size
    _hang(plan.edge, w.first, w.following)
    regather(lane, w, whole(w.first.size), truth(True))
    hangs, climb, rank, parent, na, nb = w.hangs, w.climb, plan.rank, plan.parent, lane.na, lane.nb
    hangs[:] = 0
    for n in range(bent):
        hangs[rank[na[curved[n]]]] = hangs[rank[nb[curved[n]]]] = 1
    w.known[CLIMB] = climbing(hangs, parent, climb, whole(last))
    for branches in (net.coil, net.field, net.drv_branch):
        for b in branches:
            if b >= 0:
                hangs[rank[na[b]]] = hangs[rank[nb[b]]] = 1
    refs = net.refs
    for r in range(refs.shape[0]):
        hangs[rank[na[refs[r, 0]]]] = hangs[rank[nb[refs[r, 0]]]] = 1
    for nodes in (net.mod_ground, net.sup_node, net.in_node):
        for node in nodes:
            hangs[rank[node]] = 1
    w.known[WIDE] = climbing(hangs, parent, w.wide, whole(last))


@njit(cache=True, nogil=True, error_model="numpy")
def climbing(hangs: Array, parent: Array, climb: Array, last: int) -> int:
    """Pivots marked in `hangs` and all eliminated after them that they reach, ascending; how many."""
    count = 0
    for k in range(last):
        if hangs[k]:
            climb[count] = k
            count += 1
            hangs[parent[k]] = 1
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def regather(lane: Lane, w: Work, moved: int, every: bool) -> None:
    """The arms of the branches w.moved, or the first `moved` arms."""
    plan = w.plan
    _gather(
        every, w.moved, moved, plan.edge, plan.sign, plan.rank, plan.start, lane.na, lane.nb, w.first,
        w.following, w.bg, w.bj, w.own_g, w.own_j, w.stale,
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
def prepare(net: Static, lane: Lane, w: Work, phase: int) -> int:
    """What no Newton step changes: siemens (-1: does not conduct) and source amperes of linear branches in
    w.bg and w.bj, series ohms of the others in w.br and their numbers in w.bent. Returns how many.
    """
    if w.known[SAME]:
        moved = values(net, lane, w, phase, w.gated, w.known[GATED], w.moved)
        if moved > 0:
            w.known[STIRRED] = 1
            regather(lane, w, moved, truth(False))
    else:
        _anew(net, lane, w, phase)
        w.known[SAME] = w.known[STIRRED] = 1
    count = 0
    curved, bent, bg = w.curved, w.bent, w.bg
    for n in range(w.known[CURVED]):
        if bg[curved[n]] >= 0.0:
            bent[count] = curved[n]
            count += 1
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def stamp(lane: Lane, w: Work, count: int, every: bool) -> None:
    """Nonlinear branches by their tangents at w.x: those whose tangent in the arms misses, or every one."""
    x, p, kinds, bent, bends, br, extra = w.x, lane.p, lane.kind, w.bent, w.bends, w.br, w.extra
    law_a, law_s, bg, bj, into = w.law_a, w.law_s, w.bg, w.bj, w.moved
    moved = 0
    for n in range(count):
        b = bent[n]
        if bends[b] == UNKNOWN or every:
            law_a[b], law_s[b] = laws.current(kinds[b], x[b], p[b, 0], p[b, 1], p[b, 2], p[b, 3])
        elif bends[b] == FITS:
            continue
        bends[b] = FITS
        extra[b] = 0.0
        r = br[b]
        g = law_s[b] / (1.0 + law_s[b] * r)
        bg[b], bj[b] = g, law_a[b] - g * (x[b] + r * law_a[b])
        into[moved] = b
        moved += 1
    if moved > 0:
        w.known[STIRRED] = 1
        regather(lane, w, whole(moved), truth(False))
