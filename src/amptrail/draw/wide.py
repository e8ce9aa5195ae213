"""Symbols whose pins stand where the layout put them: splice and ground bars, module and switch boxes."""

from __future__ import annotations

from amptrail.circuit.model import key
from amptrail.draw.graph import Pin
from amptrail.draw.labels import name_lines
from amptrail.draw.nodes import GLYPH
from amptrail.draw.pen import Pen
from amptrail.draw.rows import Box
from amptrail.draw.symbols import blade, chassis
from amptrail.draw.text import DETAIL_PX, LINE_PX, NAME_PX

Points = dict[int, tuple[int, int]]


def bar(pen: Pen, box: Box, at: Points, top: float, bottom: float) -> tuple[float, float]:
    """Splice or ground: legs on a bar. Returns the middle of the bar (the hub)."""
    node = box.node
    xs = [at[id(p)][0] for p in node.pins()]
    low, high = min(xs), max(xs)
    y = top + 9 if node.shape == "ground" else (top + bottom) / 2
    for p in node.tops:
        pen.line((at[id(p)][0], top), (at[id(p)][0], y), css=p.lead)
        pen.circle(at[id(p)][0], y, 3, css="solid")
    for p in node.bottoms:
        pen.line((at[id(p)][0], y), (at[id(p)][0], bottom), css=p.lead)
        pen.circle(at[id(p)][0], y, 3, css="solid")
    if high > low:
        pen.line((low, y), (high, y), css="thick")
    hub = low + (high - low) // 2
    if node.shape == "ground" and node.lowest:
        pen.line((hub, y), (hub, y + 14))
        chassis(pen, hub, y + 14)
    return hub, y


def _words(pen: Pen, pins: list[Pin], at: Points, first: float) -> None:
    for p in pins:
        for k, w in enumerate(p.words):
            pen.text(at[id(p)][0], first + k * LINE_PX, w, "pin" if k else "name", DETAIL_PX, middle=True)


def _glyph(pen: Pen, pin: Pin, x: float, y: float, inwards: int) -> None:
    """What a module pin is, at the edge of the box: an arrow in for inputs, a switch for drivers, a ring
    for a reference, two strokes for a bus."""
    if pin.glyph == "input":
        pen.filled((x - 4, y), (x + 4, y), (x, y + 7 * inwards))
    elif pin.glyph in ("low", "high", "half"):
        pen.line((x, y), (x, y + 2 * inwards), (x - 5, y + 8 * inwards))
        pen.line((x + 2, y + 8 * inwards), (x - 2, y + 8 * inwards))
    elif pin.glyph == "reference":
        pen.circle(x, y + 4 * inwards, 3)
    elif pin.glyph == "bus":
        pen.line((x - 2, y), (x - 2, y + 7 * inwards))
        pen.line((x + 2, y), (x + 2, y + 7 * inwards))


def _edges(pen: Pen, box: Box, at: Points, top: float, bottom: float, right: float) -> tuple[float, float]:
    """The frame and the leads to it; returns its upper and lower edge."""
    edge0, edge1 = top + 6, bottom - 6
    left = box.left + box.node.left - 4
    pen.frame(left, edge0, right - left, edge1 - edge0)
    for p in box.node.tops:
        pen.line((at[id(p)][0], top), (at[id(p)][0], edge0), css=p.lead)
    for p in box.node.bottoms:
        pen.line((at[id(p)][0], edge1), (at[id(p)][0], bottom), css=p.lead)
    return edge0, edge1


def module(pen: Pen, box: Box, at: Points, top: float, bottom: float) -> None:
    """Module: a box with its own name and its pins' names inside."""
    node = box.node
    edge0, edge1 = _edges(pen, box, at, top, bottom, box.right - 4)
    for p in node.tops:
        _glyph(pen, p, at[id(p)][0], edge0, 1)
    for p in node.bottoms:
        _glyph(pen, p, at[id(p)][0], edge1, -1)
    rows = [max((len(p.words) for p in row), default=0) for row in (node.tops, node.bottoms)]
    upper = edge0 + GLYPH + LINE_PX
    lower = edge1 - GLYPH - 3 - (rows[1] - 1) * LINE_PX
    title = upper + rows[0] * LINE_PX + 1
    for k, line in enumerate(node.label):
        named = k < name_lines(node.label, node.name)
        size = NAME_PX if named else DETAIL_PX
        pen.text(box.left + node.left + 4, title + k * LINE_PX, line, "part" if named else "", size)
    _words(pen, node.tops, at, upper)
    for p in node.bottoms:  # the last line of every pin stands at the edge
        _words(pen, [p], at, lower + (rows[1] - len(p.words)) * LINE_PX)


def selector(pen: Pen, box: Box, at: Points, top: float, bottom: float) -> None:
    """Switch with positions: a box with its contacts inside and its name beside."""
    node = box.node
    right = box.right - node.right + 4
    edge0, edge1 = _edges(pen, box, at, top, bottom, right)
    y = (edge0 + edge1) / 2 - len(node.label) * LINE_PX / 2 + NAME_PX - 2
    for k, line in enumerate(node.label):
        named = k < name_lines(node.label, node.name)
        size = NAME_PX if named else DETAIL_PX
        pen.text(right + node.beside - 2, y + k * LINE_PX, line, "part" if named else "", size)
    _contacts(pen, box, at, edge0, edge1)


def _contacts(pen: Pen, box: Box, at: Points, edge0: float, edge1: float) -> None:
    """One bar a pole, from the lead of the common terminal, with a blade to the lead of every throw."""
    node = box.node
    where = {p.terminal: at[id(p)][0] for p in node.pins()}
    upper = {p.terminal for p in node.tops}
    poles: dict[str, list[str]] = {}
    for common, throw, _ in node.contacts:
        if common in where and throw in where:
            poles.setdefault(common, []).append(throw)
    rows = [max((len(p.words) for p in row), default=0) * LINE_PX for row in (node.tops, node.bottoms)]
    y0, y1 = edge0 + 6 + rows[0], edge1 - 6 - rows[1]
    for k, (common, throws) in enumerate(poles.items()):
        down = common in upper
        level = y1 - 22 - 5 * k if down else y0 + 22 + 5 * k
        pen.line((where[common], edge0 if down else edge1), (where[common], level), css="lead")
        xs = [where[common], *(where[t] for t in throws)]
        if min(xs) < max(xs):
            pen.line((min(xs), level), (max(xs), level))
        for t in throws:
            x, s = where[t], 1 if down else -1
            pen.line((x, level), (x, level + 4 * s))
            names = {f"{key(common)}_{key(t)}", f"{key(t)}_{key(common)}"}
            blade(pen, (x, level + 20 * s), (x, level + 4 * s), bool(names & node.closed))
            pen.line((x, level + 20 * s), (x, edge1 if (t not in upper) else edge0), css="lead")
    for p in node.tops:
        for k, w in enumerate(p.words):
            pen.text(at[id(p)][0] + 5, edge0 + 13 + k * LINE_PX, w, "pin" if k else "name", DETAIL_PX)
    for p in node.bottoms:
        for k, w in enumerate(p.words):
            base = edge1 - 5 - (len(p.words) - 1 - k) * LINE_PX
            pen.text(at[id(p)][0] + 5, base, w, "pin" if k else "name", DETAIL_PX)
