"""Where a current comes from and where it goes: tracing flow through a solved circuit.

Proportional sharing at every node: of the current leaving a node, each entering branch has a part in
proportion to what it brings (the usual convention of flow tracing; the split is a convention, the sums are
not). Branch currents of a solved resistive network with sources have no cycles among passive parts, since
current falls in potential; sources are where a trail starts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Edge:
    """A branch with its current, `amps` flowing from node `a` to node `b` when positive."""

    name: str
    a: int
    b: int
    amps: float
    source: bool = False


@dataclass(frozen=True, slots=True)
class Trail:
    """Parts passed from source to ground, the amps of this trail, its share of the current at the point."""

    parts: tuple[str, ...]
    amps: float
    share: float


def _oriented(edges: Sequence[Edge], floor_a: float) -> list[Edge]:
    """Every carrying edge turned so that its current is positive."""
    turned = [e if e.amps >= 0 else Edge(e.name, e.b, e.a, -e.amps, e.source) for e in edges]
    return [e for e in turned if e.amps > floor_a]


def _walks(
    start: int, nexts: Mapping[int, list[tuple[Edge, int]]], least: float, most: int
) -> list[tuple[tuple[str, ...], float]]:
    """(parts, share) of every walk from `start` until a source is passed or nothing goes on."""
    found: list[tuple[tuple[str, ...], float]] = []
    stack: list[tuple[int, tuple[str, ...], float, frozenset[int]]] = [(start, (), 1.0, frozenset((start,)))]
    while stack and len(found) < most:
        node, parts, share, seen = stack.pop()
        options = [(e, n) for e, n in nexts.get(node, []) if n not in seen or e.source]
        total = sum(e.amps for e, _ in options)
        if not options or total <= 0.0:
            found.append((parts, share))
            continue
        for edge, other in sorted(options, key=lambda o: o[0].amps):
            part = share * edge.amps / total
            if part < least:
                continue
            if edge.source:
                found.append(((*parts, edge.name), part))
            else:
                stack.append((other, (*parts, edge.name), part, seen | {other}))
    return found


def trails(edges: Sequence[Edge], node: int, least_share: float = 0.01, floor_a: float = 1e-9) -> list[Trail]:
    """Every trail through `node` that carries at least `least_share` of its current, largest first.

    `edges` are all branches of one solved phase, amps in A. Returns [] where no current passes the node.
    """
    carrying = _oriented(edges, floor_a)
    into: dict[int, list[tuple[Edge, int]]] = {}
    out: dict[int, list[tuple[Edge, int]]] = {}
    for e in carrying:
        into.setdefault(e.b, []).append((e, e.a))
        out.setdefault(e.a, []).append((e, e.b))
    through = max(
        sum(e.amps for e, _ in into.get(node, [])),
        sum(e.amps for e, _ in out.get(node, [])),
    )
    if through <= 0.0:
        return []
    up = _walks(node, into, least_share, 200)
    down = _walks(node, out, least_share, 200)
    joined = [
        Trail(tuple(reversed(u)) + d, su * sd * through, su * sd)
        for u, su in up
        for d, sd in down
        if su * sd >= least_share
    ]
    merged: dict[tuple[str, ...], float] = {}
    for t in joined:
        merged[t.parts] = merged.get(t.parts, 0.0) + t.share
    return sorted((Trail(p, s * through, s) for p, s in merged.items()), key=lambda t: -t.share)
