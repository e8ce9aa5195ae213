"""How high everything stands: supply on top, ground at the bottom.

Every net gets a height: what a voltmeter would read if every switch were closed, every load the same resistor
and all else a hundredth of it, from 1 (battery positive) to 0 (ground). Parts are turned so that the higher
net is above, which can never close a ring, and layers are then the longest way down from the supply.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from amptrail.draw.graph import Graph, Node

SOURCE, EARTH, LOOSE = 1e3, 1e3, 1e-7  # conductances: a source's, the ground's, everything's to ground


def heights(
    nets: int, pairs: Sequence[tuple[int, int, float]], sources: Sequence[tuple[int, int, float]], ground: int
) -> list[float]:
    """Height of each net. `pairs` are resistors (net, net, size), `sources` (plus, minus, volts); `ground`
    stands at 0.

    Plain elimination without pivoting (the matrix is diagonally dominant), element by element, so that the
    result is the same on every machine; rounded so that equal heights are equal.
    """
    a = np.zeros((nets, nets))
    b = np.zeros(nets)
    a[np.diag_indices(nets)] += LOOSE
    a[ground, ground] += EARTH
    for i, j, size in pairs:
        if i != j:
            g = 1.0 / size
            a[i, i] += g
            a[j, j] += g
            a[i, j] -= g
            a[j, i] -= g
    for plus, minus, volts in sources:
        if plus != minus:
            a[plus, plus] += SOURCE
            a[minus, minus] += SOURCE
            a[plus, minus] -= SOURCE
            a[minus, plus] -= SOURCE
            b[plus] += SOURCE * volts
            b[minus] -= SOURCE * volts
    for k in range(nets - 1):
        factor = a[k + 1 :, k] / a[k, k]
        a[k + 1 :, k:] -= factor[:, None] * a[k, k:][None, :]
        b[k + 1 :] -= factor * b[k]
    x = np.zeros(nets)
    for k in range(nets - 1, -1, -1):
        x[k] = (b[k] - float((a[k, k + 1 :] * x[k + 1 :]).sum())) / a[k, k]
    return [round(float(v), 9) for v in x]


def _edges(graph: Graph) -> list[tuple[int, int]]:
    """(upper node, lower node) for every net that leaves one downwards and enters the other from above."""
    above: dict[int, list[int]] = {}
    below: dict[int, list[int]] = {}
    for i, node in enumerate(graph.nodes):
        for p in node.bottoms:
            above.setdefault(p.net, []).append(i)
        for p in node.tops:
            below.setdefault(p.net, []).append(i)
    pairs = [(u, v) for net, us in above.items() for u in us for v in below.get(net, ()) if u != v]
    return list(dict.fromkeys(pairs))


def _without_rings(nodes: int, edges: Sequence[tuple[int, int]], height: Sequence[float]) -> list[list[int]]:
    """Successors of every node, leaving out each edge that would close a ring; steepest edges go first."""
    after: list[list[int]] = [[] for _ in range(nodes)]

    def reaches(start: int, goal: int) -> bool:
        seen, stack = {start}, [start]
        while stack:
            n = stack.pop()
            if n == goal:
                return True
            for m in after[n]:
                if m not in seen:
                    seen.add(m)
                    stack.append(m)
        return False

    for u, v in sorted(edges, key=lambda e: (height[e[1]] - height[e[0]], e)):
        if not reaches(v, u):
            after[u].append(v)
    return after


def layers(graph: Graph, height: Sequence[float]) -> list[int]:
    """Layer of every node, 0 on top; ground symbols stand in the last one.

    `height[net]` as from `heights`.
    """
    nodes = graph.nodes
    mean = [sum(height[p.net] for p in n.pins()) / max(1, len(n.pins())) if n.pins() else 0.0 for n in nodes]
    after = _without_rings(len(nodes), _edges(graph), mean)
    indegree = [0] * len(nodes)
    for vs in after:
        for v in vs:
            indegree[v] += 1
    layer = [0] * len(nodes)
    ready = [i for i in range(len(nodes)) if indegree[i] == 0]
    turn: list[int] = []
    while ready:
        u = ready.pop(0)
        turn.append(u)
        for v in after[u]:
            layer[v] = max(layer[v], layer[u] + 1)
            indegree[v] -= 1
            if indegree[v] == 0:
                ready.append(v)
    last = max((layer[i] for i, n in enumerate(nodes) if not n.lowest), default=0) + 1
    for i, n in enumerate(nodes):
        if n.lowest:
            layer[i] = last
    _settle(nodes, after, layer, turn)
    return layer


def _settle(nodes: Sequence[Node], after: list[list[int]], layer: list[int], turn: list[int]) -> None:
    """Move nodes within their slack to where the nets they join span fewer layers."""
    before: list[list[int]] = [[] for _ in nodes]
    for u, vs in enumerate(after):
        for v in vs:
            before[v].append(u)
    on: dict[int, list[tuple[int, int]]] = {}
    for i, n in enumerate(nodes):
        for p in n.tops:
            on.setdefault(p.net, []).append((i, 0))
        for p in n.bottoms:
            on.setdefault(p.net, []).append((i, 1))

    def span(i: int) -> int:
        total = 0
        for net in {p.net for p in nodes[i].pins()}:
            channels = [layer[j] + low for j, low in on[net]]
            total += max(channels) - min(channels)
        return total

    last = max(layer, default=0)
    supplies = {p.net for n in nodes if n.shape == "battery" for p in n.tops}
    hangs = {i for i, n in enumerate(nodes) if any(p.net in supplies for p in n.pins())}
    for i in turn:
        if i in hangs:
            hangs.update(after[i])
    for _ in range(4):
        for i in reversed(turn):
            if nodes[i].lowest or nodes[i].shape == "battery":
                continue
            low = max((layer[u] + 1 for u in before[i]), default=0)
            high = min((layer[v] - 1 for v in after[i]), default=last - 1)
            best, at = span(i), layer[i]
            for place in range(low, high + 1):
                layer[i] = place
                # what does not hang from a battery (a sensor's return, say) stays near what it joins
                if span(i) < best or (span(i) == best and place > at and i not in hangs):
                    best, at = span(i), place
            layer[i] = at
