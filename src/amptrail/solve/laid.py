"""What lanes laid over the healthy vehicle's solutions work on; in what they differ from it (compiled)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.plain import put, truth, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import CLIMB, climbing

BENT, ARMS, PIVOTS, PATH, BRIDGED, EVERY, FELT = range(7)  # of Over.n


class Row(NamedTuple):
    """One state of the healthy vehicle, solved and eliminated: what lanes disturb is put back from here; what
    is of arms, pivots and places is put aside when it is first changed."""

    v: Array  # [place]
    i: Array  # [branch]
    x: Array
    law_a: Array
    law_s: Array
    bg: Array
    bj: Array
    br: Array
    bent: Array
    own_g: Array  # [arm]
    own_j: Array
    g: Array
    J: Array
    left_g: Array  # [pair]
    left_j: Array
    inverse: Array  # [pivot]
    share: Array
    drop: Array  # [place]
    ohm: Array
    margin: Array  # [threshold]
    copies: Array  # [reference] A copied


class Over(NamedTuple):
    """Scratch of a lane over a row.

    Nodes have places: ground, then what is eliminated later before what is eliminated sooner, those that
    nonlinear branches hang on first, then the others that anything compared hangs on. So volts are found from
    the first place on, in one walk through memory, as far as they are asked for."""

    at: Array  # [node] its place
    na: Array  # [branch] ends as places
    nb: Array
    v: Array  # [place] V
    s: Array  # [place] A put in
    left: Array  # [place] A
    near: Array  # [arm] rank of its other end
    first: Array  # [place + 1] where its shares begin; those of ground are none
    whose: Array  # [place] the pivot that stands there
    before: Array  # [share] place of the node at the other end
    share: Array  # [share] of the sum of its pivot's arms
    drop: Array  # [place] V its emfs take off
    ohm: Array  # [place] 1/(sum of arms)
    mod_ground: Array  # nodes of `Static` as places
    sup_node: Array
    in_node: Array
    pivot: Array  # [arm] the pivot it is of
    size: (
        Array  # [2] places that nonlinear branches, references or their copies hang on; or anything compared
    )
    some: Array  # [branch] scratch: branches or arms
    apart: Array  # [branch] 1: at other nodes than in the healthy vehicle
    place: Array  # [branch] its arm there
    arms: Array  # arms whose own sum was changed
    touched: Array  # [arm]
    pivots: Array  # pivots eliminated again
    gone: Array  # [pivot]
    path: Array  # pivots from the ends of a bridge to the root, ascending
    on_path: Array  # [pivot]
    far_g: Array  # [pivot] its arm to the middle of the bridge
    far_j: Array
    middle: (
        Array  # [5] siemens, amperes to ground of the middle, amperes put in, its volts; siemens of a half
    )
    ends: Array  # [2] pivots at the ends of the bridge
    copy: Array  # [reference] A copied
    step: Array  # [reference]
    margin: Array  # [threshold]
    n: Array  # [7] counts, see above


@njit(cache=True, nogil=True)
def thresholds(net: Static) -> int:
    return int(
        net.coil.size + net.sup_node.size + net.in_node.size + net.drv_branch.size + net.field.size
        + net.fuse_branch.size
    )  # fmt: skip


@njit(cache=True, nogil=True)
def blank_row(net: Static, w: Work) -> Row:
    branches, arms, pairs, n = w.bg.size, w.g.size, w.left_g.size, net.nodes
    return Row(
        np.zeros(n), np.zeros(branches), np.zeros(branches), np.zeros(branches), np.zeros(branches),
        np.zeros(branches), np.zeros(branches), np.zeros(branches), np.zeros(branches, np.int32),
        np.zeros(arms), np.zeros(arms), np.zeros(arms), np.zeros(arms), np.zeros(pairs), np.zeros(pairs),
        np.zeros(n), np.zeros(arms), np.zeros(n), np.zeros(n), np.zeros(thresholds(net)),
        np.zeros(net.refs.shape[0]),
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _marked(net: Static, lane: Lane, w: Work, hangs: Array, compared: bool) -> None:
    """Pivots at nonlinear branches, references and their copies; `compared`: at all thresholds too."""
    rank, na, nb, refs = w.plan.rank, lane.na, lane.nb, net.refs
    for n in range(w.known[CLIMB]):
        hangs[w.climb[n]] = 1
    for r in range(refs.shape[0]):
        for c in range(2):
            hangs[rank[na[refs[r, c]]]] = hangs[rank[nb[refs[r, c]]]] = 1
    if compared:
        for branches in (net.coil, net.field, net.drv_branch):
            for b in branches:
                if b >= 0:
                    hangs[rank[na[b]]] = hangs[rank[nb[b]]] = 1
        for nodes in (net.mod_ground, net.sup_node, net.in_node):
            for node in nodes:
                hangs[rank[node]] = 1


@njit(cache=True, nogil=True)
def _places(net: Static, lane: Lane, w: Work, at: Array, whose: Array, size: Array) -> None:
    """Give every node its place."""
    plan, last = w.plan, net.nodes - 1
    hangs, some, placed = (
        np.zeros(net.nodes, np.uint8),
        np.zeros(net.nodes, np.int32),
        np.zeros(net.nodes, np.uint8),
    )
    here = 1
    for step in range(3):
        if step < 2:
            _marked(net, lane, w, hangs, truth(step == 1))
        else:
            hangs[:] = 1
        count = climbing(hangs, plan.parent, some, whole(last))
        for n in range(count - 1, -1, -1):
            k = some[n]
            if not placed[k]:
                placed[k] = 1
                at[plan.order[k]], whose[here] = here, k
                here += 1
        if step < 2:
            size[step] = here - 1


@njit(cache=True, nogil=True)
def scratch(net: Static, lane: Lane, w: Work) -> Over:
    """Scratch for lanes over rows, of a healthy lane prepared once."""
    branches, arms, n, refs = w.bg.size, w.g.size, net.nodes, net.refs.shape[0]
    pivot, start, rank, near = np.zeros(arms, np.int32), w.plan.start, w.plan.rank, np.zeros(arms, np.int32)
    for k in range(n - 1):
        for t in range(start[k], start[k + 1]):
            pivot[t], near[t] = k, rank[w.plan.near[t]]
    at, whose, size = np.zeros(n, np.int32), np.zeros(n, np.int32), np.zeros(2, np.int64)
    _places(net, lane, w, at, whose, size)
    first, before = np.zeros(n + 1, np.int32), np.zeros(arms, np.int32)
    for i in range(1, n):
        k = whose[i]
        first[i + 1] = first[i] + start[k + 1] - start[k] - 1
        for t in range(start[k], start[k + 1] - 1):
            before[first[i] + t - start[k]] = at[w.plan.near[t]]
    return Over(
        at, at[lane.na], at[lane.nb], np.zeros(n), np.zeros(n), np.zeros(n), near, first, whose, before,
        np.zeros(arms), np.zeros(n), np.zeros(n), at[net.mod_ground], at[net.sup_node], at[net.in_node],
        pivot, size, np.zeros(max(branches, arms), np.int32), np.zeros(branches, np.uint8),
        np.zeros(branches, np.int32), np.zeros(arms, np.int32), np.zeros(arms, np.uint8),
        np.zeros(n, np.int32), np.zeros(n, np.uint8), np.zeros(n, np.int32), np.zeros(n, np.uint8),
        np.zeros(n), np.zeros(n), np.zeros(5), np.zeros(2, np.int64), np.zeros(refs), np.zeros(refs),
        np.zeros(thresholds(net)), np.zeros(7, np.int64),
    )  # fmt: skip


@njit(cache=True, nogil=True)
def viewed(s: Lane, n: int) -> Lane:
    """Lane n itself, not a copy."""
    return Lane(
        s.kind[n], s.na[n], s.nb[n], s.p[n], s.series[n], s.open[n], s.switch[n], s.relay[n], s.driver[n],
        s.module[n], s.input[n], s.pull_drop[n], s.excite[n], s.rating[n], s.level[n], s.limit[n], s.least[n],
    )  # fmt: skip


@njit(cache=True, nogil=True)
def forced(base: Lane, lane: Lane) -> bool:
    """Whether a driver or module of a lane does what no voltage decides."""
    for d in range(base.driver.size):
        if lane.driver[d] != base.driver[d]:
            return True
    for m in range(base.module.size):  # noqa: SIM110
        if lane.module[m] != base.module[m] and lane.module[m] != 2:
            return True
    return False


@njit(cache=True, nogil=True)
def changed(net: Static, base: Lane, lane: Lane, mark: Array, into: Array) -> int:
    """The branches a lane has otherwise than the healthy vehicle, noted in `into`; -1: too many of them."""
    size = mark.size
    a0, a1 = base.kind, lane.kind
    for b in range(size):
        mark[b] = a0[b] != a1[b]
    a0, a1 = base.na, lane.na
    for b in range(size):
        mark[b] |= a0[b] != a1[b]
    a0, a1 = base.nb, lane.nb
    for b in range(size):
        mark[b] |= a0[b] != a1[b]
    o0, o1 = base.open, lane.open
    for b in range(size):
        mark[b] |= o0[b] != o1[b]
    s0, s1 = base.series, lane.series
    for b in range(size):
        mark[b] |= s0[b] != s1[b]
    p0, p1 = base.p, lane.p
    for b in range(size):
        mark[b] |= (
            (p0[b, 0] != p1[b, 0]) | (p0[b, 1] != p1[b, 1]) | (p0[b, 2] != p1[b, 2]) | (p0[b, 3] != p1[b, 3])
        )
    switched = False
    for s in range(base.switch.size):
        switched |= base.switch[s] != lane.switch[s]
    for r in range(base.relay.size):
        switched |= base.relay[r] != lane.relay[r]
    if switched:
        gate, unit = net.gate, net.unit
        for b in range(gate.size):
            if gate[b] == laws.SWITCH:
                mark[b] |= base.switch[unit[b]] != lane.switch[unit[b]]
            elif gate[b] in (laws.MADE, laws.BROKEN):
                mark[b] |= base.relay[unit[b]] != lane.relay[unit[b]]
    count = 0
    for b in range(size):
        if mark[b]:
            if count == into.size:
                return -1
            into[count] = b
            count += 1
    return count


@njit(cache=True, nogil=True)
def patched(from_: Lane, to: Lane, over: Over, changes: Array, count: int) -> None:
    """The branches changes[:count] of one lane written over those of another."""
    for c in range(count):
        b = changes[c]
        to.kind[b], to.na[b], to.nb[b] = from_.kind[b], from_.na[b], from_.nb[b]
        to.series[b], to.open[b] = from_.series[b], from_.open[b]
        for k in range(to.p.shape[1]):
            to.p[b, k] = from_.p[b, k]
        over.na[b], over.nb[b] = over.at[from_.na[b]], over.at[from_.nb[b]]


@njit(cache=True, nogil=True)
def unbranched(from_: Lane, to: Lane) -> None:
    """What a lane has beside its branches written over that of another."""
    put(to.switch, from_.switch)
    put(to.relay, from_.relay)
    put(to.module, from_.module)
    put(to.input, from_.input)
    put(to.excite, from_.excite)
    put(to.rating, from_.rating)
    put(to.limit, from_.limit)
    put(to.least, from_.least)
    for a, b in ((from_.pull_drop, to.pull_drop), (from_.level, to.level)):
        for n in range(a.shape[0]):
            b[n, 0], b[n, 1] = a[n, 0], a[n, 1]


@njit(cache=True, nogil=True)
def else_alike(a: Lane, b: Lane) -> bool:
    """Whether two lanes have the same beside their branches."""
    same = True
    for x, y in ((a.switch, b.switch), (a.relay, b.relay), (a.module, b.module), (a.input, b.input)):
        for n in range(x.size):
            same &= x[n] == y[n]
    for p, q in ((a.excite, b.excite), (a.rating, b.rating), (a.limit, b.limit), (a.least, b.least)):
        for n in range(p.size):
            same &= p[n] == q[n]
    for r, s in ((a.pull_drop, b.pull_drop), (a.level, b.level)):
        for n in range(r.shape[0]):
            same &= r[n, 0] == s[n, 0] and r[n, 1] == s[n, 1]
    return same
