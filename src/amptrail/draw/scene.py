"""The finished geometry: boxes, and for every net its pieces of line and its dots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from amptrail.draw.channels import Run, route
from amptrail.draw.columns import columns
from amptrail.draw.graph import Graph, Pin, up_to_grid
from amptrail.draw.levels import layers
from amptrail.draw.order import Item, Layers, ordered
from amptrail.draw.rows import Box, stack

MARGIN = 16

Point = tuple[int, int]
Piece = tuple[Point, Point]  # horizontal (left, right) or vertical (upper, lower)


@dataclass(frozen=True, slots=True)
class Wire:
    """A net in place: pieces that meet only at their ends, the points where three or more meet, its pins."""

    net: int
    pieces: tuple[Piece, ...]
    dots: tuple[Point, ...]
    pins: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything in place. `at[id(pin)]` is where a pin meets the edge of its symbol."""

    graph: Graph
    boxes: tuple[Box, ...]
    wires: tuple[Wire, ...]
    at: dict[int, Point]
    width: int
    height: int


def _boxes(placed: Layers, x: dict[int, int]) -> list[Box]:
    out = []
    for at, row in enumerate(placed.rows):
        for item in row:
            node = item.node
            if node is None:
                continue
            if node.stretches:
                rows = [r for r in (item.tops, item.bottoms) if r]
                left = min(x[id(r[0])] - r[0].left for r in rows) - node.left
                right = max(x[id(r[-1])] + r[-1].right for r in rows) + node.right
                anchor = min(x[id(r[0])] for r in rows)
            else:
                first = node.pins()[0]
                anchor = x[id(first)] - first.dx
                left, right = anchor - node.left, anchor + node.right
            out.append(Box(node, at, anchor, left, right))
    return out


def _channels(placed: Layers, x: dict[int, int]) -> list[list[Run]]:
    out = []
    for c in range(placed.channels()):
        pins: dict[int, tuple[list[int], list[int]]] = {}
        for p in placed.upper(c):
            pins.setdefault(p.net, ([], []))[0].append(x[id(p)])
        for p in placed.lower(c):
            pins.setdefault(p.net, ([], []))[1].append(x[id(p)])
        out.append(route(pins))
    return out


def _merged(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    for low, high in sorted(spans):
        if out and low <= out[-1][1]:
            out[-1] = (out[-1][0], max(high, out[-1][1]))
        else:
            out.append((low, high))
    return out


def _wire(net: int, verticals: dict[int, list[tuple[int, int]]], runs: list[Run], pins: set[Point]) -> Wire:
    """Cut the lines of a net where they meet, and find where a dot is due."""
    ups = {x: _merged([s for s in spans if s[0] < s[1]]) for x, spans in verticals.items()}
    xs_at: dict[int, set[int]] = {}
    for run in runs:
        for x in (*run.above, *run.below):
            xs_at.setdefault(run.y, set()).add(x)
    cuts: dict[int, set[int]] = {}
    pieces: list[Piece] = []
    for run in runs:
        xs = sorted({run.low, run.high, *run.above, *run.below})
        pieces += [((a, run.y), (b, run.y)) for a, b in pairwise(xs)]
        for x in xs:
            cuts.setdefault(x, set()).add(run.y)
    for x, spans in ups.items():
        for low, high in spans:
            ys = sorted({low, high, *(y for y in cuts.get(x, ()) if low < y < high)})
            pieces += [((x, a), (x, b)) for a, b in pairwise(ys)]
    meets: dict[Point, int] = {}
    for a, b in pieces:
        meets[a] = meets.get(a, 0) + 1
        meets[b] = meets.get(b, 0) + 1
    dots = tuple(sorted(p for p, n in meets.items() if n >= 3))
    return Wire(net, tuple(pieces), dots, tuple(sorted(pins)))


def order(graph: Graph, height: Sequence[float]) -> Layers:
    """Who stands where in which layer. `height[net]` as from `levels.heights`."""
    return ordered(graph, layers(graph, height)) if graph.nodes else Layers()


def arrange(graph: Graph, placed: Layers) -> Scene:
    """Lay the graph out in the order of `placed`."""
    if not graph.nodes:
        return Scene(graph, (), (), {}, 2 * MARGIN, 2 * MARGIN)
    placed.resized()
    x = columns(placed)
    boxes = _boxes(placed, x)
    left = min(*(b.left for b in boxes), *x.values())
    shift = up_to_grid(MARGIN - left)
    x = {pin: at + shift for pin, at in x.items()}
    boxes = _boxes(placed, x)
    channels = _channels(placed, x)
    total = stack(boxes, channels)
    for b in boxes:
        b.y += MARGIN
    for runs in channels:
        for r in runs:
            r.y += MARGIN
    at = _pins_at(boxes, x)
    wires = _wires(placed, channels, x, at)
    width = max(*(b.right for b in boxes), *x.values()) + MARGIN
    return Scene(graph, tuple(boxes), tuple(wires), at, width, total + 2 * MARGIN)


def _pins_at(boxes: Sequence[Box], x: dict[int, int]) -> dict[int, Point]:
    at: dict[int, Point] = {}
    for b in boxes:
        for p in b.node.tops:
            at[id(p)] = (x[id(p)], b.y)
        for p in b.node.bottoms:
            at[id(p)] = (x[id(p)], b.bottom)
    return at


class _Lines:
    """Follows every line downwards, through passing items, from where it starts to where it ends."""

    def __init__(
        self, placed: Layers, channels: list[list[Run]], x: dict[int, int], at: dict[int, Point]
    ) -> None:
        self.placed, self.channels, self.x, self.at = placed, channels, x, at
        self.verticals: dict[int, dict[int, list[tuple[int, int]]]] = {}
        self.lower: list[dict[tuple[int, int], tuple[Item, Pin]]] = [
            {(p.net, x[id(p)]): (item, p) for item in row for p in item.tops} for row in placed.rows
        ]
        self.lower.append({})

    def _end(self, c: int, net: int, column: int) -> int | None:
        """y where a line entering channel c from above ends: at a run, or at what stands straight below."""
        for r in self.channels[c]:
            if r.net == net and column in r.above:
                return r.y
        return self._below(c, net, column)

    def _below(self, c: int, net: int, column: int) -> int | None:
        found = self.lower[c].get((net, column))
        if found is None:
            return None
        item, pin = found
        return self.at[id(pin)][1] if item.node is not None else self._end(c + 1, net, column)

    def _add(self, net: int, column: int, start: int, end: int | None) -> None:
        if end is not None:
            self.verticals.setdefault(net, {}).setdefault(column, []).append((start, end))

    def follow(self) -> None:
        """Collect all vertical lines."""
        for c in range(self.placed.channels()):
            for item in self.placed.rows[c - 1] if c else ():
                if item.node is not None:
                    for p in item.bottoms:
                        column, y = self.at[id(p)]
                        self._add(p.net, column, y, self._end(c, p.net, column))
            for r in self.channels[c]:
                for column in r.below:
                    end = r.joined.y if r.joined is not None else self._below(c, r.net, column)
                    self._add(r.net, column, r.y, end)


def _wires(placed: Layers, channels: list[list[Run]], x: dict[int, int], at: dict[int, Point]) -> list[Wire]:
    lines = _Lines(placed, channels, x, at)
    lines.follow()
    runs_of: dict[int, list[Run]] = {}
    for runs in channels:
        for r in runs:
            runs_of.setdefault(r.net, []).append(r)
    pins_of: dict[int, set[Point]] = {}
    for row in placed.rows:
        for item in row:
            if item.node is not None:
                for p in (*item.tops, *item.bottoms):
                    pins_of.setdefault(p.net, set()).add(at[id(p)])
    nets = sorted(set(lines.verticals) | set(runs_of))
    return [_wire(n, lines.verticals.get(n, {}), runs_of.get(n, []), pins_of.get(n, set())) for n in nets]
