"""The experiment behind 0007: the same symbols laid out by our own layering and by a general layout library.

Run with `pip install pyelk` (a Python port of a general layered layout, EPL-2.0): it is not a dependency.
Both get the same nodes, sizes and terminals above and below, and are counted alike. A net of more than two
pins goes to the library as one edge from its first lower pin to every other, as such libraries take it.
"""

from __future__ import annotations

import math
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

from benchmarks.generator import generate

from amptrail.circuit.model import Circuit
from amptrail.draw.graph import Graph
from amptrail.draw.measure import collisions, lines
from amptrail.draw.nodes import graph
from amptrail.draw.scene import arrange, order
from amptrail.sheet import parse

ROOT = Path(__file__).parents[1]


def _sized(g: Graph) -> dict[str, Any]:
    """The graph in the library's words; stretching nodes have their pins at even distances."""
    children: list[Any] = []
    ends: dict[int, list[tuple[bool, str]]] = {}
    for i, node in enumerate(g.nodes):
        rows = (node.tops, node.bottoms)
        wide = node.left + node.right
        if node.stretches:
            wide += max(sum(p.left + p.right for p in row) for row in rows)
        ports = []
        for side, row in (("NORTH", node.tops), ("SOUTH", node.bottoms)):
            for k, p in enumerate(row):
                ports.append(
                    {"id": f"{i}{side}{k}", "width": 0, "height": 0, "x": node.left + p.dx, "y": 0,
                     "layoutOptions": {"elk.port.side": side, "elk.port.index": str(k)}}
                )  # fmt: skip
                ends.setdefault(p.net, []).append((side == "NORTH", f"{i}{side}{k}"))
        children.append(
            {"id": str(i), "width": wide, "height": node.height, "ports": ports,
             "layoutOptions": {"elk.portConstraints": "FIXED_SIDE"}}
        )  # fmt: skip
    edges = []
    for net, pins in ends.items():
        pins.sort()
        first = pins[0][1]
        for k, (_, other) in enumerate(pins[1:]):
            edges.append({"id": f"{net}/{k}", "sources": [first], "targets": [other]})
    options = {"elk.algorithm": "layered", "elk.direction": "DOWN", "elk.edgeRouting": "ORTHOGONAL"}
    return {"id": "root", "layoutOptions": options, "children": children, "edges": edges}


Point = tuple[float, float]


def _side(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _cross(p: tuple[Point, Point], q: tuple[Point, Point]) -> bool:
    return _side(*p, q[0]) * _side(*p, q[1]) < 0 and _side(*q, p[0]) * _side(*q, p[1]) < 0


def _enters(p: tuple[Point, Point], r: tuple[float, float, float, float]) -> bool:
    """Does a line pass the inside of a rectangle?"""
    x0, y0, x1, y1 = r[0] + 2, r[1] + 2, r[2] - 2, r[3] - 2
    edges = [((x0, y0), (x1, y0)), ((x1, y0), (x1, y1)), ((x1, y1), (x0, y1)), ((x0, y1), (x0, y0))]
    return any(_cross(p, e) for e in edges)


def library(circuit: Circuit) -> tuple[int, ...]:
    """Slanted lines, overlaps, crossings, lines through nodes, nodes on nodes, bends, px, width, height."""
    import pyelk

    g, _ = graph(circuit)
    got = pyelk.ELK().layout(_sized(g))
    boxes = [(c["x"], c["y"], c["x"] + c["width"], c["y"] + c["height"]) for c in got["children"]]
    nets: dict[str, list[tuple[Point, Point]]] = {}
    bends = 0
    for e in got["edges"]:
        for s in e.get("sections", []):
            points = [(p["x"], p["y"]) for p in (s["startPoint"], *s.get("bendPoints", []), s["endPoint"])]
            bends += len(points) - 2
            nets.setdefault(e["id"].split("/")[0], []).extend(pairwise(points))
    flat = [(net, p) for net, pieces in nets.items() for p in pieces]
    crossings = sum(m != n and _cross(p, q) for i, (m, p) in enumerate(flat) for n, q in flat[i + 1 :])
    level = [[p for p in net if p[0][0] == p[1][0] or p[0][1] == p[1][1]] for net in nets.values()]
    straight = sum(len(net) for net in level)
    overlaps, _ = lines([[(min(p), max(p)) for p in net] for net in level])  # type: ignore[misc]
    through = sum(_enters(p, r) for _, p in flat for r in boxes)
    px = round(sum(math.dist(a, b) for _, (a, b) in flat))
    return (len(flat) - straight, overlaps, crossings, through, collisions(boxes), bends, px,
            round(max(b[2] for b in boxes)), round(max(b[3] for b in boxes)))  # fmt: skip


def ours(circuit: Circuit) -> tuple[int, ...]:
    """The same figures of our own layout."""
    from amptrail.draw import draw

    g, height = graph(circuit)
    scene = arrange(g, order(g, height))
    m = draw(circuit).metrics
    boxes = [(float(b.left), float(b.y), float(b.right), float(b.bottom)) for b in scene.boxes]
    return (0, m.net_overlaps, m.crossings, m.wires_through_symbols, collisions(boxes), m.bends, m.wire_px,
            m.width_px, m.height_px)  # fmt: skip


def main() -> None:
    sheets = [(p.stem, parse(p.read_text(encoding="utf-8"))) for p in sorted(ROOT.glob("demos/*.sheet"))]
    sheets += [(f"generated 60/{i}", generate(60, i)) for i in range(3)]
    print("circuit, layout: slanted overlaps crossings through on-node bends px width height seconds")
    for name, circuit in sheets:
        for who, lay in (("own", ours), ("library", library)):
            start = time.perf_counter()
            row = lay(circuit)
            print(f"{name}, {who}:", *row, f"{time.perf_counter() - start:.2f}")


if __name__ == "__main__":
    main()
