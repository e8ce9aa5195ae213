"""The scene as SVG text: lines, symbols, words, beads, and a target for a finger at every terminal."""

from __future__ import annotations

from typing import Literal

from amptrail.circuit.model import key
from amptrail.draw.graph import Node, Pin
from amptrail.draw.labels import name_lines
from amptrail.draw.overlay import CHIP_DX, Overlay, lit
from amptrail.draw.pen import Pen, n
from amptrail.draw.rows import Box
from amptrail.draw.scene import Piece, Point, Scene, Wire
from amptrail.draw.symbols import SYMBOLS
from amptrail.draw.text import DETAIL_PX, LINE_PX, NAME_PX, escape
from amptrail.draw.wide import bar, module, selector

Theme = Literal["screen", "print"]
TARGET = 48  # px of a finger

_VARIABLES = """svg.amptrail{--ink:#111;--paper:#fff;--soft:#555}
@media (prefers-color-scheme:dark){svg.amptrail{--ink:#f2f2f2;--paper:#111;--soft:#b8b8b8}}
"""
_RULES = """svg.amptrail{background:PAPER;font-family:"DejaVu Sans",Verdana,Arial,sans-serif}
.amptrail path,.amptrail rect,.amptrail circle{fill:none;stroke:INK;stroke-width:1.5;stroke-linejoin:round}
.amptrail text{fill:INK;stroke:none;font-size:11px}
.amptrail .part,.amptrail .name{font-weight:bold}
.amptrail .part{font-size:12px}
.amptrail .pin{font-size:9.5px;fill:SOFT}
.amptrail .chip{font-weight:bold}
.amptrail .in{font-size:13px}
.amptrail .solid,.amptrail .bead{fill:INK}
.amptrail .thick{stroke-width:3}
.amptrail .tie{stroke-dasharray:3 3;stroke-width:1}
.amptrail .fed path,.amptrail .fed rect,.amptrail .fed circle,.amptrail path.fed{stroke-dasharray:6 4}
.amptrail .cut{stroke-width:2.5}
.amptrail .fault path{stroke-width:2}
.amptrail .off{opacity:.22}
.amptrail .off .off{opacity:1}
.amptrail .on path.lead,.amptrail path.on{stroke-width:3}
.amptrail .on path.lead.off{stroke-width:1.5}
.amptrail rect.hit{fill:transparent;stroke:none;pointer-events:all}
"""


def _style(theme: Theme) -> str:
    if theme == "print":
        return _RULES.replace("INK", "#000").replace("PAPER", "#fff").replace("SOFT", "#000")
    return _VARIABLES + _RULES.replace("INK", "var(--ink)").replace("PAPER", "var(--paper)").replace(
        "SOFT", "var(--soft)"
    )


def pruned(wire: Wire, keep: set[Point]) -> set[Piece]:
    """Pieces of a net that lie between the points kept: loose ends are taken away until none is left."""
    left = set(wire.pieces)
    while True:
        ends: dict[Point, int] = {}
        for a, b in left:
            ends[a] = ends.get(a, 0) + 1
            ends[b] = ends.get(b, 0) + 1
        loose = {p for p in left if any(ends[e] == 1 and e not in keep for e in p)}
        if not loose:
            return left
        left -= loose


def _path(pieces: list[Piece]) -> str:
    return "".join(
        f"M{a[0]} {a[1]}V{b[1]}" if a[0] == b[0] else f"M{a[0]} {a[1]}H{b[0]}" for a, b in sorted(pieces)
    )


class Drawing:
    """One drawing being written; `pens` keeps the ink of every symbol for counting."""

    def __init__(self, scene: Scene, overlay: Overlay, names: dict[str, str]) -> None:
        self.scene, self.overlay, self.names = scene, overlay, names
        self.target = float(TARGET)  # px of the drawing's own scale
        self.pens: list[Pen] = []
        self.trail = None if overlay.trail is None else frozenset(key(b) for b in overlay.trail)
        self.fed_nets = self._only_feed()
        self.lit: set[int] = set()  # id(pin)
        self.points: list[tuple[str, float, float]] = []  # what can be tapped, and where
        if self.trail is not None:
            self._light(self.trail)

    def _light(self, trail: frozenset[str]) -> None:
        """Find the pins the trail passes; a joint to the body is passed where its net is."""
        nodes = self.scene.graph.nodes
        self.lit = {id(p) for n in nodes if n.shape != "body" for p in n.pins() if lit(n, p, trail)}
        nets = {p.net for n in nodes for p in n.pins() if id(p) in self.lit}
        self.lit |= {id(p) for n in nodes if n.shape == "body" for p in n.pins() if p.net in nets}
        for node in nodes:
            for p in node.pins():
                p.faded = id(p) not in self.lit

    def _only_feed(self) -> set[int]:
        """Nets that join parts of the feed alone."""
        own: dict[int, list[bool]] = {}
        for node in self.scene.graph.nodes:
            for p in node.pins():
                own.setdefault(p.net, []).append(node.fed)
        return {net for net, fed in own.items() if all(fed)}

    def wires(self) -> list[str]:
        """Lines of every net, its dots with them."""
        out = []
        at: dict[int, set[Point]] = {}
        if self.trail is not None:
            for node in self.scene.graph.nodes:
                for p in node.pins():
                    if id(p) in self.lit:
                        at.setdefault(p.net, set()).add(self.scene.at[id(p)])
        for w in self.scene.wires:
            name = escape(self.scene.graph.metals[w.net])
            fed = " fed" if w.net in self.fed_nets else ""
            out.append(f'<g class="net" data-net="{name}">')
            if self.trail is None:
                out.append(f'<path class="line{fed}" d="{_path(list(w.pieces))}"/>')
                bright = set(w.pieces)
            else:
                keep = at.get(w.net, set())
                bright = pruned(w, keep) if len(keep) > 1 else set()
                rest = [p for p in w.pieces if p not in bright]
                if rest:
                    out.append(f'<path class="line off{fed}" d="{_path(rest)}"/>')
                if bright:
                    out.append(f'<path class="line on{fed}" d="{_path(list(bright))}"/>')
            for x, y in w.dots:
                off = "" if any((x, y) in p for p in bright) else " off"
                out.append(f'<circle class="solid{off}" cx="{x}" cy="{y}" r="3"/>')
            out.append("</g>")
        return out

    def symbol(self, box: Box) -> list[str]:
        """A node: its symbol, words and marks."""
        node, pen = box.node, Pen()
        self.pens.append(pen)
        top, bottom = box.y + node.above, box.bottom - node.below
        for p in node.pins():
            x, y = self.scene.at[id(p)]
            edge = top if p in node.tops else bottom
            if edge != y:
                pen.line((x, min(y, edge)), (x, max(y, edge)), css=p.lead)
        hub: tuple[float, float] | None = None
        if node.shape in ("splice", "ground"):
            hub = bar(pen, box, self.scene.at, top, bottom)
            last = max(self.scene.at[id(p)][0] for p in node.pins())
            self._label(pen, node, last + node.beside, hub[1], top)
        elif node.shape == "box":
            module(pen, box, self.scene.at, top, bottom)
        elif node.shape == "selector":
            selector(pen, box, self.scene.at, top, bottom)
        else:
            SYMBOLS[node.shape](pen, node, box.anchor, top, bottom)
            self._label(pen, node, box.anchor + node.beside, (top + bottom) / 2, top)
        self._marks(pen, box, (top + bottom) / 2)
        for p in node.pins():
            self._chip(pen, box, p)
        css = ["sym", node.shape]
        if node.fed:
            css.append("fed")
        if self.trail is not None:
            css.append("on" if any(id(p) in self.lit for p in node.pins()) else "off")
        name = f' data-part="{escape(node.name)}"' if node.name else ""
        title = f"<title>{escape(node.about)}</title>" if node.about else ""
        return [f'<g class="{" ".join(css)}"{name}>{title}', *pen.out, "</g>", *self._targets(node, hub)]

    def _label(self, pen: Pen, node: Node, x: float, middle: float, top: float) -> None:
        count = len(node.label)
        y = max(middle - count * LINE_PX / 2, top) + NAME_PX - 2
        for k, line in enumerate(node.label):
            named = k < name_lines(node.label, node.name)
            size = NAME_PX if named else DETAIL_PX
            pen.text(x, y + k * LINE_PX, line, "part" if named else "", size)

    def _marks(self, pen: Pen, box: Box, middle: float) -> None:
        """A fault is a jagged arrow, a cut two strokes across the line."""
        node = box.node
        if node.fault:
            bars = node.shape in ("splice", "ground")
            near = min(self.scene.at[id(p)][0] for p in node.pins()) if bars else box.anchor
            x = box.left + 6 if node.shape in ("box", "selector") else near - 36
            pen.out.append('<g class="fault">')
            pen.line((x, middle - 12), (x + 7, middle - 2), (x + 3, middle + 1), (x + 11, middle + 11))
            pen.filled((x + 12, middle + 13), (x + 11, middle + 6), (x + 6, middle + 10))
            pen.out.append("</g>")
        if node.cut and node.shape not in ("box", "selector"):
            x = box.anchor
            for dy in (-3, 3):
                pen.line((x - 8, middle + dy + 4), (x + 4, middle + dy - 4), css="cut")

    def _chip(self, pen: Pen, box: Box, pin: Pin) -> None:
        if not pin.chip:
            return
        x, y = self.scene.at[id(pin)]
        base = y + LINE_PX - 3 if pin in box.node.tops else y - 3
        if id(pin) in self.lit:
            pen.circle(x, base - 4, 3.5, css="bead")
        pen.text(x + CHIP_DX, base, pin.chip, "chip")

    def _targets(self, node: Node, hub: tuple[float, float] | None) -> list[str]:
        """Something to tap at every terminal: named, and a finger wide."""
        out = []
        for p in node.pins():
            x, y = self.scene.at[id(p)]
            if not node.name or not p.terminal:
                continue
            point = f"{node.name}.{p.terminal}"
            if node.shape == "cavity":
                point = f"{node.name.rpartition('.')[0]}.{p.terminal}"
            out.append(self._target(point, self.scene.graph.metals[p.net], x, y, p.chip))
        if hub is not None:
            out.append(self._target(node.name, node.name, hub[0], hub[1], ""))
        return out

    def _target(self, point: str, metal: str, x: float, y: float, reads: str) -> str:
        self.points.append((point, x, y))
        words = f"{point}: {reads}" if reads else point
        named = self.names.get(key(point))
        also = f' data-name="{escape(named)}"' if named else ""
        half = self.target / 2
        at = f'x="{n(x - half)}" y="{n(y - half)}" width="{n(self.target)}" height="{n(self.target)}"'
        return (
            f'<g class="pt" data-point="{escape(point)}" data-node="{escape(metal)}"{also} '
            f'data-x="{n(x)}" data-y="{n(y)}">'
            f'<title>{escape(words)}</title><rect class="hit" {at}/></g>'
        )

    def text(self, title: str, theme: Theme, smaller: float = 1.0) -> str:
        """The whole SVG document; `smaller` is how many times smaller than drawn it will be shown."""
        self.target = TARGET * smaller
        s = self.scene
        body = [x for b in s.boxes for x in self.symbol(b)]
        shapes = [x for x in body if not x.startswith('<g class="pt"')]
        points = [x for x in body if x.startswith('<g class="pt"')]
        return "\n".join(
            [
                '<svg xmlns="http://www.w3.org/2000/svg" class="amptrail" '
                f'viewBox="0 0 {s.width} {s.height}" '
                f'width="{s.width}" height="{s.height}" role="img" aria-label="{escape(title)}">',
                f"<title>{escape(title)}</title>",
                f"<style>{_style(theme)}</style>",
                *([f'<rect x="0" y="0" width="{s.width}" height="{s.height}" style="fill:#fff;stroke:none"/>']
                  if theme == "print" else []),
                *self.wires(),
                *shapes,
                *points,
                "</svg>\n",
            ]
        )  # fmt: skip
