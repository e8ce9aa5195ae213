"""Star-mesh elimination with branch emfs (compiled).

An arm holds g (siemens) and J = g*emf (amperes): current = g*(v_pivot - v_other) + J. Conductances are only
added, multiplied and divided; sources stay in arms, which keeps floating clusters exact.

Which arms there are and where every product goes is worked out once a topology (`Plan`). Arms are numbered
in the order of elimination and run from the pivot to a node eliminated later, so that no sign is ever asked
for and the arithmetic walks through memory once.

What an eliminated pivot leaves between two of its neighbours is kept, and an arm is the sum, in one fixed
order, of its own branches and of what the pivots before it left there. So only pivots at a branch that
changed, and those after them that are reached, are eliminated again, and every bit comes out as if all
had been.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from amptrail.solve.plain import whole

Array = Any


class Plan(NamedTuple):
    """One topology. Arms of pivot k are start[k] ... start[k+1]-1; the last of them goes to ground."""

    order: Array  # [node-1] pivots
    rank: Array  # [node] when it is eliminated; ground last
    start: Array  # [node] first arm of each pivot
    near: Array  # [arm] the other end, in order of elimination
    target: Array  # [pair] arm that pair (p, q) of a pivot's arms adds to
    pair: Array  # [node] first pair of each pivot
    edge: Array  # [branch] its arm, -1: both ends on one node
    sign: Array  # [branch] 1.0 when it runs from the earlier node to the later, else -1.0
    parent: Array  # [node] the pivot eliminated next of those a pivot has arms to; itself last
    comes: Array  # [arm + 1] where in `source` the pairs that add to each arm begin
    source: Array  # [pair] pairs by the arm they add to, in order of elimination


@njit(cache=True, nogil=True)
def ordering(nodes: int, ground: int, na: Array, nb: Array, late: Array, order: Array, rank: Array) -> None:
    """Minimum-degree order (ties: lowest node), nodes of `late` after all others.

    Source: Tinney and Walker 1967, scheme 2 (from memory)."""
    joined = np.zeros((nodes, nodes), np.bool_)
    degree = np.zeros(nodes, np.int64)
    for n in range(nodes):
        if n != ground:
            joined[n, ground] = joined[ground, n] = True
            degree[n] += 1
    for b in range(na.size):
        i, j = na[b], nb[b]
        if i != j and not joined[i, j]:
            joined[i, j] = joined[j, i] = True
            degree[i] += 1
            degree[j] += 1
    done = np.zeros(nodes, np.bool_)
    done[ground] = True
    rank[ground] = nodes - 1
    near = np.empty(nodes, np.int64)
    for k in range(nodes - 1):
        best = -1
        for n in range(nodes):
            if done[n]:
                continue
            sooner = best < 0 or late[n] < late[best]
            if sooner or (late[n] == late[best] and degree[n] < degree[best]):
                best = n
        done[best] = True
        order[k] = best
        rank[best] = k
        count = 0
        for n in range(nodes):
            if joined[best, n] and (not done[n] or n == ground):
                near[count] = n
                count += 1
        for p in range(count):
            i = near[p]
            degree[i] -= 1
            for q in range(p + 1, count):
                j = near[q]
                if not joined[i, j]:
                    joined[i, j] = joined[j, i] = True
                    degree[i] += 1
                    degree[j] += 1


@njit(cache=True, nogil=True)
def fill(nodes: int, ground: int, order: Array, rank: Array, na: Array, nb: Array) -> Plan:
    """The plan of a given order: every pivot has its own branches and what earlier pivots leave it."""
    first = np.zeros(nodes + 1, np.int64)
    for b in range(na.size):
        if na[b] != nb[b]:
            first[min(rank[na[b]], rank[nb[b]]) + 1] += 1
    for k in range(nodes):
        first[k + 1] += first[k]
    put = first[:-1].copy()
    later = np.empty(first[nodes], np.int32)
    for b in range(na.size):
        i, j = rank[na[b]], rank[nb[b]]
        if i != j:
            later[put[min(i, j)]] = max(i, j)
            put[min(i, j)] += 1
    start = np.zeros(nodes, np.int32)
    ranks = np.empty(4 * nodes + 16, np.int32)  # other ends as ranks; grows
    child, sibling = np.full(nodes, -1, np.int32), np.full(nodes, -1, np.int32)
    seen = np.full(nodes, -1, np.int32)
    used = 0
    for k in range(nodes - 1):
        if used + nodes > ranks.size:
            wider = np.empty(2 * ranks.size + nodes, np.int32)
            for m in range(used):
                wider[m] = ranks[m]
            ranks = wider
        start[k] = used
        seen[k] = k
        seen[nodes - 1] = k
        ranks[used] = nodes - 1
        used += 1
        for m in range(first[k], first[k + 1]):
            if seen[later[m]] != k:
                seen[later[m]] = k
                ranks[used] = later[m]
                used += 1
        c = child[k]
        while c >= 0:
            for m in range(start[c], start[c + 1]):
                if seen[ranks[m]] != k:
                    seen[ranks[m]] = k
                    ranks[used] = ranks[m]
                    used += 1
            c = sibling[c]
        start[k + 1] = used
        for m in range(start[k] + 1, used):  # few: insertion
            here, p = ranks[m], m
            while p > start[k] and ranks[p - 1] > here:
                ranks[p] = ranks[p - 1]
                p -= 1
            ranks[p] = here
        parent = ranks[start[k]]
        sibling[k] = child[parent]
        child[parent] = k
    pair = np.zeros(nodes, np.int32)
    for k in range(nodes - 1):
        arms = start[k + 1] - start[k]
        pair[k + 1] = pair[k] + arms * (arms - 1) // 2
    target = np.empty(pair[nodes - 1], np.uint32)
    where = np.zeros(nodes, np.int32)
    at = 0
    for k in range(nodes - 1):
        for p in range(start[k], start[k + 1] - 1):
            i = ranks[p]
            for m in range(start[i], start[i + 1]):
                where[ranks[m]] = m
            for q in range(p + 1, start[k + 1]):
                target[at] = where[ranks[q]]
                at += 1
    near = np.empty(used, np.uint32)
    for m in range(used):
        near[m] = ground if ranks[m] == nodes - 1 else order[ranks[m]]
    parent = np.full(nodes, nodes - 1, np.int32)
    for k in range(nodes - 1):
        parent[k] = ranks[start[k]]
    comes = np.zeros(used + 1, np.int32)
    for m in range(target.size):
        comes[target[m] + 1] += 1
    for p in range(used):
        comes[p + 1] += comes[p]
    put_at, source = comes[:-1].copy(), np.empty(target.size, np.int32)
    for m in range(target.size):
        source[put_at[target[m]]] = m
        put_at[target[m]] += 1
    edge, sign = np.full(na.size, -1, np.int32), np.ones(na.size)
    for b in range(na.size):  # as `attach` does: called here it would take and give back every array
        i, j = rank[na[b]], rank[nb[b]]
        if i > j:
            sign[b] = -1.0
        for m in range(start[min(i, j)], start[min(i, j) + 1]) if i != j else range(0):
            if ranks[m] == max(i, j):
                edge[b] = m
                break
    return Plan(order, rank, start, near, target, pair, edge, sign, parent, comes, source)


def packed(plan: Plan, na: Array, nb: Array) -> Array:
    """A plan and the branch ends it was made for as one array: what every lane is given should be short, for
    each array more is more to hand over at every call, and to compile."""
    sizes = np.array([plan.near.size, plan.target.size, 0, 0])
    parts = (
        sizes, plan.order, plan.rank, plan.start, plan.pair, plan.parent, plan.near, plan.target, plan.comes,
        plan.source, plan.edge, na, nb,
    )  # fmt: skip
    return np.concatenate([np.asarray(p, np.int32) for p in parts])


@njit(cache=True, nogil=True)
def attach(plan: Plan, b: int, i: int, j: int) -> bool:
    """Put branch b between nodes i and j; False when the plan has no arm there."""
    plan.edge[b] = -1
    if i == j:
        return True
    plan.sign[b] = 1.0 if plan.rank[i] < plan.rank[j] else -1.0
    pivot, other = (i, j) if plan.rank[i] < plan.rank[j] else (j, i)
    k = plan.rank[pivot]
    for p in range(plan.start[k], plan.start[k + 1]):
        if plan.near[p] == other:
            plan.edge[b] = p
            return True
    return False


@njit(cache=True, nogil=True)
def fitted(packing: Array, nodes: int, ground: int, na: Array, nb: Array) -> Plan:
    """The packed plan with a lane's own branch ends; new arms are filled in, in the same order, if it needs
    any."""
    sizes = packing[:4]
    at = 4
    order = packing[at : at + nodes - 1]
    at += nodes - 1
    rank = packing[at : at + nodes]
    at += nodes
    start = packing[at : at + nodes]
    at += nodes
    pair = packing[at : at + nodes]
    at += nodes
    parent = packing[at : at + nodes]
    at += nodes
    near = packing[at : at + sizes[0]].view(np.uint32)
    at += sizes[0]
    target = packing[at : at + sizes[1]].view(np.uint32)
    at += sizes[1]
    comes = packing[at : at + sizes[0] + 1]
    at += sizes[0] + 1
    source = packing[at : at + sizes[1]]
    at += sizes[1]
    edge = packing[at : at + na.size].copy()
    at += na.size
    old_a, old_b = packing[at : at + na.size], packing[at + na.size : at + 2 * na.size]
    sign = np.ones(na.size)
    plan = Plan(order, rank, start, near, target, pair, edge, sign, parent, comes, source)
    for b in range(na.size):
        if rank[na[b]] > rank[nb[b]]:
            sign[b] = -1.0
        moved = na[b] != old_a[b] or nb[b] != old_b[b]
        if moved and not attach(plan, b, whole(na[b]), whole(nb[b])):
            return fill(nodes, ground, order, rank, na, nb)
    return plan


@njit(cache=True, nogil=True)
def kept_ends(packing: Array, nodes: int, count: int) -> tuple[Array, Array, Array]:
    """(arm, node a, node b) of every branch of the packed plan."""
    at = 4 + 5 * nodes + 2 * (packing[0] + packing[1])
    edge = packing[at : at + count]
    return edge, packing[at + count : at + 2 * count], packing[at + 2 * count : at + 3 * count]


@njit(cache=True, nogil=True)
def refitted(packing: Array, plan: Plan, na: Array, nb: Array) -> bool:
    """Make `plan`, got by `fitted` for the healthy ends, ready for a lane's ends; False when it has no arm
    for one of them (a short to ground always has one)."""
    edge, old_a, old_b = kept_ends(packing, whole(plan.rank.size), whole(na.size))
    for b in range(na.size):
        if na[b] == old_a[b] and nb[b] == old_b[b]:
            plan.edge[b] = edge[b]
            plan.sign[b] = -1.0 if plan.rank[na[b]] > plan.rank[nb[b]] else 1.0
        elif not attach(plan, b, whole(na[b]), whole(nb[b])):
            return False
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def forward(
    start: Array, pair: Array, rank: Array, near: Array, comes: Array, source: Array, own_g: Array,
    own_j: Array, left_g: Array, left_j: Array, g: Array, J: Array, inverse: Array, stale: Array,
) -> None:  # fmt: skip
    """Eliminate pivots marked `stale` and those whose arms they change, in order; marks are taken off.
    own: what branches put into an arm; left: what pairs of arms leave behind; 1/(sum of arms): `inverse`."""
    for k in range(start.size - 1):
        if not stale[k]:
            continue
        stale[k] = 0
        lo, hi = start[k], start[k + 1]
        total = 0.0
        moved = False
        for p in range(lo, hi):
            a, c = own_g[p], own_j[p]
            for m in range(comes[p], comes[p + 1]):
                t = source[m]
                a += left_g[t]
                c += left_j[t]
            moved |= a != g[p] or c != J[p]
            g[p], J[p] = a, c
            total += a
        if not moved:
            continue
        r = 1.0 / total
        inverse[k] = r
        at = pair[k]
        for p in range(lo, hi - 1):
            w, j = g[p] * r, J[p] * r
            stale[rank[near[p]]] = 1
            for q in range(p + 1, hi):
                left_g[at] = w * g[q]
                left_j[at] = w * J[q] - j * g[q]
                at += 1


@njit(cache=True, nogil=True, error_model="numpy")
def pushed(
    order: Array, start: Array, near: Array, g: Array, inverse: Array, s: Array, some: Array, count: int
) -> None:  # fmt: skip
    """Amperes s put into nodes of an eliminated network, on their way: what `backward` adds at every pivot.
    All of them go into pivots some[:count], ascending and with all their later neighbours among them."""
    for n in range(count):
        k = some[n]
        here = s[order[k]]
        if here != 0.0:
            here *= inverse[k]
            for p in range(start[k], start[k + 1]):
                s[near[p]] += g[p] * here


@njit(cache=True, nogil=True, error_model="numpy")
def backward_of(
    order: Array, start: Array, near: Array, g: Array, J: Array, inverse: Array, v: Array, s: Array,
    some: Array, count: int,
) -> None:  # fmt: skip
    """Volts of the pivots some[count-1] ... some[0], ascending and with all their later neighbours among
    them, with the amperes s that `pushed` left."""
    for n in range(count - 1, -1, -1):
        k = some[n]
        push = s[order[k]]
        for p in range(start[k], start[k + 1]):
            push += g[p] * v[near[p]] - J[p]
        v[order[k]] = push * inverse[k]


@njit(cache=True, nogil=True, error_model="numpy")
def backward(
    order: Array,
    start: Array,
    near: Array,
    g: Array,
    J: Array,
    inverse: Array,
    v: Array,
    s: Array,
) -> None:
    """Volts of all pivots, the last first, with the amperes s that `pushed` left."""
    for k in range(order.size - 1, -1, -1):
        push = s[order[k]]
        for p in range(start[k], start[k + 1]):
            push += g[p] * v[near[p]] - J[p]
        v[order[k]] = push * inverse[k]


@njit(cache=True, nogil=True, error_model="numpy")
def injected(
    order: Array, start: Array, near: Array, g: Array, inverse: Array, s: Array, y: Array, ground: int
) -> None:
    """Volts y when amperes s are put into the nodes of an eliminated network and every emf is nothing.
    `s` is overwritten."""
    count = order.size
    for k in range(count):
        here = s[order[k]]
        if here != 0.0:
            here *= inverse[k]
            for p in range(start[k], start[k + 1]):
                s[near[p]] += g[p] * here
    y[ground] = 0.0
    for k in range(count - 1, -1, -1):
        push = s[order[k]]
        for p in range(start[k], start[k + 1]):
            push += g[p] * y[near[p]]
        y[order[k]] = push * inverse[k]
