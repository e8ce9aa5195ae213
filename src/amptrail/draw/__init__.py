"""`draw`: a circuit as a picture, the same circuit always the same picture. Pure: data in, SVG text out."""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import Circuit, key
from amptrail.draw.graph import Graph
from amptrail.draw.measure import Metrics, Piece, Rect, between, collisions, lines, overlap, rect_of
from amptrail.draw.nodes import graph
from amptrail.draw.order import Layers
from amptrail.draw.overlay import PLAIN, Overlay, along, put
from amptrail.draw.scene import Scene, arrange, order
from amptrail.draw.svg import Drawing, Theme
from amptrail.errors import one

__all__ = ["Metrics", "Overlay", "Picture", "Theme", "draw"]

MOST_NODES = 250  # drawn in under 10 s; beyond that nobody could read it either


@dataclass(frozen=True, slots=True)
class Picture:
    """The drawing as SVG text, how good it is, and what can be tapped: each point with its place."""

    svg: str
    metrics: Metrics
    points: tuple[tuple[str, float, float], ...] = ()


def draw(
    circuit: Circuit, overlay: Overlay = PLAIN, theme: Theme = "screen", shown_px: int | None = None
) -> Picture:
    """Draw a circuit: supply on top, ground at the bottom. Same input, same bytes.

    `shown_px` is the width the picture will be shown at, when it is less than its own: targets then stay as
    wide as a finger there. InputError when there is too much to draw at once.

    Example: `draw(parse("battery BAT 12 V\npath BAT.- -- body")).svg`
    """
    kept = _ordered(circuit, overlay.feed, (overlay.only and overlay.trail) or frozenset())
    nodes, placed = _fresh(kept)
    put(nodes, overlay)
    scene = arrange(nodes, placed)
    drawing = Drawing(scene, overlay, _names(circuit))
    smaller = max(1.0, scene.width / shown_px) if shown_px else 1.0
    svg = drawing.text(circuit.title or circuit.name or "circuit", theme, smaller)
    return Picture(svg, _metrics(scene, drawing), tuple(drawing.points))


@lru_cache(maxsize=16)
def _ordered(circuit: Circuit, feed: frozenset[str], trail: frozenset[str]) -> bytes:
    """Who stands where, before anything is laid over: readings move nothing to another place, so the next
    phase of the same circuit need not seek it again. Kept as bytes, because what is drawn is written into
    it."""
    nodes, height = graph(circuit, feed)
    if trail:
        nodes = along(nodes, trail)
    if len(nodes.nodes) > MOST_NODES:
        raise one(
            "too-much-to-draw",
            f"a drawing has at most {MOST_NODES} symbols, and this would have {len(nodes.nodes)}",
            remedy="draw a trail alone (--trail POINT --only), or a sheet of one function",
        )
    return pickle.dumps((nodes, order(nodes, height)))


def _fresh(kept: bytes) -> tuple[Graph, Layers]:
    nodes, placed = pickle.loads(kept)
    return nodes, placed


def _names(circuit: Circuit) -> dict[str, str]:
    """Names the sheet gives to points, by terminal (key)."""
    found: dict[str, list[str]] = {}
    for p in circuit.points:
        if p.what == "volts" and p.b is None:
            found.setdefault(key(str(p.a)), []).append(p.name)
    return {at: " ".join(names) for at, names in found.items()}


def _metrics(scene: Scene, drawing: Drawing) -> Metrics:
    words = [r for pen in drawing.pens for r in pen.words]
    ink = [r for pen in drawing.pens for r in pen.ink]
    pieces = [p for w in scene.wires for p in w.pieces]
    drawn = [rect_of(p, 0.75) for p in pieces]
    short = [_shorter(r) for r in drawn]
    overlaps, crossings = lines([w.pieces for w in scene.wires])
    return Metrics(
        label_collisions=collisions(words) + between(words, ink),
        labels_on_wires=between(words, drawn),
        net_overlaps=overlaps,
        wires_through_symbols=sum(overlap(a, b) for a in short for b in ink if a[0] < a[2] and a[1] < a[3]),
        crossings=crossings,
        bends=sum(_bends(w.pieces) for w in scene.wires),
        wire_px=sum(abs(b[0] - a[0]) + abs(b[1] - a[1]) for a, b in pieces),
        width_px=scene.width,
        height_px=scene.height,
        parts=len([b for b in scene.boxes if b.node.name]),
        labels=len(words),
    )


def _shorter(r: Rect) -> Rect:
    """A line touches the symbols it ends at: what counts is where it runs on over one."""
    upright = r[2] - r[0] < 2
    return (r[0], r[1] + 2, r[2], r[3] - 2) if upright else (r[0] + 2, r[1], r[2] - 2, r[3])


def _bends(pieces: tuple[Piece, ...]) -> int:
    """Corners of a net: points where exactly two pieces meet at a right angle."""
    at: dict[tuple[int, int], list[bool]] = {}
    for a, b in pieces:
        for end in (a, b):
            at.setdefault(end, []).append(a[0] == b[0])
    return sum(1 for ways in at.values() if len(ways) == 2 and ways[0] != ways[1])
