"""Who stands left of whom: items of every layer ordered so that lines cross little.

Between two layers lies a channel. A net that spans several channels passes each layer between them once, as
an item of its own. Barycentre sweeps from several starts, then swaps of neighbours; the best order by counted
crossings is kept. Nothing is random.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from amptrail.draw.graph import GRID, Graph, Node, Pin

SWEEPS, SWAPS = 12, 6
T = TypeVar("T")
LINE = GRID  # half the room a passing line takes


@dataclass(eq=False, slots=True)
class Item:
    """A node in its layer, or (`node` None) a net passing the layer."""

    layer: int
    tops: list[Pin]
    bottoms: list[Pin]
    node: Node | None = None
    left: int = LINE
    right: int = LINE

    def row_width(self) -> int:
        """Width in px of the item at least."""
        if self.node is not None and self.node.stretches:
            rows = (sum(p.left + p.right for p in row) for row in (self.tops, self.bottoms))
            return max(rows) + self.left + self.right
        return self.left + self.right


@dataclass(slots=True)
class Layers:
    """`rows[l]` the items of layer l from left to right; channel c lies above layer c."""

    rows: list[list[Item]] = field(default_factory=list)

    def resized(self) -> None:
        """Take the sizes of nodes anew: words may have been put into them since they were ordered."""
        for row in self.rows:
            for item in row:
                if item.node is not None:
                    item.left, item.right = item.node.left, item.node.right

    def channels(self) -> int:
        """How many channels: one above every layer and one below the last."""
        return len(self.rows) + 1

    def upper(self, c: int) -> list[Pin]:
        """Pins that enter channel c from above, left to right."""
        return [p for item in self.rows[c - 1] for p in item.bottoms] if c > 0 else []

    def lower(self, c: int) -> list[Pin]:
        """Pins that enter channel c from below, left to right."""
        return [p for item in self.rows[c] for p in item.tops] if c < len(self.rows) else []


def layered(graph: Graph, layer: Sequence[int]) -> Layers:
    """Nodes and passing nets in layers, in the order of the sheet."""
    rows: list[list[Item]] = [[] for _ in range(max(layer, default=-1) + 1)]
    reach: dict[int, list[int]] = {}
    first: dict[int, int] = {}
    for node, at in zip(graph.nodes, layer, strict=True):
        rows[at].append(Item(at, node.tops, node.bottoms, node, node.left, node.right))
        for pins, low in ((node.tops, 0), (node.bottoms, 1)):
            for p in pins:
                reach.setdefault(p.net, []).append(at + low)
                first.setdefault(p.net, node.order)
    for net, channels in reach.items():
        for at in range(min(channels), max(channels)):
            ends = Pin("", net), Pin("", net)
            rows[at].append(Item(at, [ends[0]], [ends[1]]))
    for row in rows:
        row.sort(key=lambda i: i.node.order if i.node else first[i.tops[0].net] + 0.5)
    return Layers(rows)


# ---- crossings ----------------------------------------------------------------------------------------
def _joins(upper: Sequence[Pin], lower: Sequence[Pin]) -> list[tuple[int, int]]:
    """(upper slot, lower slot) of every join between the two sides of a channel."""
    at: dict[int, list[int]] = {}
    for d, p in enumerate(lower):
        at.setdefault(p.net, []).append(d)
    return [(u, d) for u, p in enumerate(upper) for d in at.get(p.net, ())]


def _one_sided(pins: Sequence[Pin], others: Sequence[Pin]) -> int:
    """Lines passed by nets that have all their pins on one side of a channel."""
    far = {p.net for p in others}
    span: dict[int, list[int]] = {}
    for i, p in enumerate(pins):
        if p.net not in far:
            span.setdefault(p.net, []).append(i)
    return sum(s[-1] - s[0] + 1 - len(s) for s in span.values())


def crossings(upper: Sequence[Pin], lower: Sequence[Pin]) -> int:
    """Crossings in one channel, counted from the order of its pins alone."""
    joins = sorted(_joins(upper, lower))
    count = 0
    for i, (u, d) in enumerate(joins):
        for v, e in joins[i + 1 :]:
            if v > u and e < d:
                count += 1
    return count + _one_sided(upper, lower) + _one_sided(lower, upper)


def all_crossings(layers: Layers) -> int:
    """Crossings of the whole drawing, channel by channel."""
    return sum(crossings(layers.upper(c), layers.lower(c)) for c in range(layers.channels()))


# ---- sweeps -------------------------------------------------------------------------------------------
def _positions(row: Sequence[Item], bottoms: bool) -> dict[int, list[float]]:
    """Rough x of every pin of a row by net: items packed side by side around 0."""
    total = sum(i.row_width() for i in row)
    at = -total / 2
    out: dict[int, list[float]] = {}
    for item in row:
        pins = item.bottoms if bottoms else item.tops
        wide = item.row_width()
        for k, p in enumerate(pins):
            if item.node is None or item.node.stretches:
                x = at + wide * (k + 0.5) / len(pins)
            else:
                x = at + item.left + p.dx
            out.setdefault(p.net, []).append(x)
        at += wide
    return out


def _mean(xs: Sequence[float]) -> float:
    return sum(xs) / len(xs)


def _arrange(row: list[Item], near: dict[int, list[float]], tops: bool) -> None:
    """Sort the items of a row, and the pins of those that stretch, by where their nets come from."""
    own = _positions(row, bottoms=not tops)
    total, at = sum(i.row_width() for i in row), 0.0
    middle: dict[int, float] = {}
    for item in row:
        middle[id(item)] = at + item.row_width() / 2 - total / 2
        at += item.row_width()
    where: dict[int, float] = {}
    for item in row:
        pins = item.tops if tops else item.bottoms
        xs = [_mean(near[p.net]) for p in pins if p.net in near]
        if not xs and pins:  # a net with no pin across the channel: stay near its own other pins
            mates = [x for p in pins for x in own.get(p.net, ())]
            xs = [(_mean(mates) + middle[id(item)]) / 2]
        where[id(item)] = _mean(xs) if xs else middle[id(item)]
        if item.node is not None and item.node.stretches:
            pins.sort(key=lambda p: _mean(near[p.net]) if p.net in near else where[id(item)])
    row.sort(key=lambda i: where[id(i)])


def _snapshot(layers: Layers) -> list[list[tuple[Item, list[Pin], list[Pin]]]]:
    return [[(i, list(i.tops), list(i.bottoms)) for i in row] for row in layers.rows]


def _restore(layers: Layers, kept: list[list[tuple[Item, list[Pin], list[Pin]]]]) -> None:
    for row, old in zip(layers.rows, kept, strict=True):
        row[:] = [i for i, _, _ in old]
        for i, tops, bottoms in old:
            i.tops[:], i.bottoms[:] = tops, bottoms


def _sweep(layers: Layers, down: bool) -> None:
    count = len(layers.rows)
    for at in range(count) if down else range(count - 1, -1, -1):
        if down:
            near = _positions(layers.rows[at - 1], True) if at else {}
        else:
            near = _positions(layers.rows[at + 1], False) if at + 1 < count else {}
        _arrange(layers.rows[at], near, tops=down)


def _around(layers: Layers, at: int) -> int:
    return sum(crossings(layers.upper(c), layers.lower(c)) for c in (at, at + 1))


def _swaps(layers: Layers, at: int, one: list[T]) -> bool:
    """Exchange neighbours of one list of layer `at` wherever that saves crossings."""
    now, better = _around(layers, at), False
    for k in range(len(one) - 1):
        if not now:
            break
        one[k], one[k + 1] = one[k + 1], one[k]
        then = _around(layers, at)
        if then < now:
            now, better = then, True
        else:
            one[k], one[k + 1] = one[k + 1], one[k]
    return better


def _swap_neighbours(layers: Layers) -> None:
    """Exchange neighbours, and neighbouring pins of what stretches, until nothing gets better."""
    for _ in range(SWAPS):
        better = False
        for at, row in enumerate(layers.rows):
            better |= _swaps(layers, at, row)
            for item in row:
                if item.node is not None and item.node.stretches:
                    better |= _swaps(layers, at, item.tops)
                    better |= _swaps(layers, at, item.bottoms)
        if not better:
            return


def ordered(graph: Graph, layer: Sequence[int]) -> Layers:
    """The layers with every row in its best found order."""
    layers = layered(graph, layer)
    best, kept = all_crossings(layers), _snapshot(layers)
    for downwards in (True, False):
        _restore(layers, kept)
        for turn in range(SWEEPS):
            _sweep(layers, down=(turn % 2 == 0) == downwards)
            if turn % 3 == 2:
                _swap_neighbours(layers)
            count = all_crossings(layers)
            if count < best:
                best, kept = count, _snapshot(layers)
    _restore(layers, kept)
    _swap_neighbours(layers)
    return layers
