"""A drawing read back from its SVG text alone: where lines, symbols, words and targets are.

Shares no code with the program: what it counts is what a viewer would draw.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field

# a line is x0, y0, x1, y1
SVG = "{http://www.w3.org/2000/svg}"
SIZES = {"part": 12.0, "pin": 9.5, "in": 13.0}
Rect = tuple[float, float, float, float]
Line = tuple[float, float, float, float]
At = tuple[float, float]


@dataclass
class Text:
    words: str
    x: float
    y: float
    size: float
    bold: bool
    middle: bool

    def rect(self, em: float = 0.0) -> Rect:
        """Its rectangle; every letter `em` wide, or by `letter` when 0."""
        wide = sum(em or letter(c, self.bold) for c in self.words) * self.size
        left = self.x - wide / 2 if self.middle else self.x
        return (left, self.y - 0.76 * self.size, left + wide, self.y + 0.15 * self.size)


@dataclass
class Inked:
    root: ET.Element
    nets: list[tuple[str, list[Line]]] = field(default_factory=list)  # one entry for every drawn net
    shapes: list[tuple[str, Rect]] = field(default_factory=list)  # (part, box of one shape)
    texts: list[Text] = field(default_factory=list)
    points: list[tuple[str, str, float, float]] = field(default_factory=list)  # point, metal, x, y
    dots: list[tuple[float, float]] = field(default_factory=list)


def letter(c: str, bold: bool) -> float:
    """Advance width of a letter in em: DejaVu Sans, rounded (read from the face with Pillow; see
    test_the_measure_of_words)."""
    narrow = 0.40 if c in "iljI.,:;|!'" else 0.42 if c in "frt-()[] " else 0.0
    wide = 0.98 if c in "mwMW%@—…" else 0.70 if c.isupper() or c in "▼▲" else 0.635
    return (narrow or wide) * (1.1 if bold else 1.0)


def _lines(d: str) -> list[Line]:
    out: list[Line] = []
    x = y = 0.0
    for op, args in re.findall(r"([MLHVAZ])([^MLHVAZ]*)", d):
        n = [float(v) for v in re.findall(r"-?[\d.]+", args)]
        if op == "M":
            x, y = n
        elif op == "L":
            out.append((x, y, n[0], n[1]))
            x, y = n[:2]
        elif op == "H":
            out.append((x, y, n[0], y))
            x = n[0]
        elif op == "V":
            out.append((x, y, x, n[0]))
            y = n[0]
        elif op == "A":  # a half circle standing on its ends
            out += [(x, y - n[0], n[5], y - n[0]), (x, y, n[5], n[6])]
            x, y = n[5:]
    return out


def _shape(e: ET.Element) -> list[Rect]:
    if e.tag == SVG + "path":
        return [(min(a, c), min(b, d), max(a, c), max(b, d)) for a, b, c, d in _lines(e.get("d", ""))]
    if e.tag == SVG + "circle":
        x, y, r = (float(e.get(k, "")) for k in ("cx", "cy", "r"))
        return [(x - r, y - r, x + r, y + r)]
    x, y, w, h = (float(e.get(k, "")) for k in ("x", "y", "width", "height"))
    if e.get("rx"):  # a box with words inside: its edges only
        return [(x, y, x + w, y), (x, y + h, x + w, y + h), (x, y, x, y + h), (x + w, y, x + w, y + h)]
    return [(x, y, x + w, y + h)]


def read(svg: str) -> Inked:
    """Parse the SVG; raises ET.ParseError when it is not well-formed."""
    root = ET.fromstring(svg)
    out = Inked(root)
    for g in root.iter(SVG + "g"):
        css = (g.get("class") or "").split()
        if "net" in css:
            pieces = [ln for p in g.iter(SVG + "path") for ln in _lines(p.get("d", ""))]
            out.nets.append((g.get("data-net", ""), pieces))
            out.dots += [(float(c.get("cx", "")), float(c.get("cy", ""))) for c in g.iter(SVG + "circle")]
        elif "pt" in css:
            (r,) = g.iter(SVG + "rect")
            half = float(r.get("width", "")) / 2
            at = float(r.get("x", "")) + half, float(r.get("y", "")) + half
            out.points.append((g.get("data-point", ""), g.get("data-node", ""), *at))
        elif "sym" in css:
            for e in g.iter():
                if e.tag in (SVG + "path", SVG + "rect", SVG + "circle"):
                    out.shapes += [(g.get("data-part", ""), r) for r in _shape(e)]
                elif e.tag == SVG + "text" and e.get("class") != "in":
                    kind = e.get("class") or ""
                    x, y = float(e.get("x", "")), float(e.get("y", ""))
                    bold, middle = kind in ("part", "name", "chip"), e.get("text-anchor") == "middle"
                    out.texts.append(Text(e.text or "", x, y, SIZES.get(kind, 11.0), bold, middle))
    return out


def over(a: Rect, b: Rect) -> bool:
    """Do two rectangles share more than an edge?"""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def box(line: Line, half: float = 0.5) -> Rect:
    """The ink of a line."""
    a, b, c, d = line
    return (min(a, c) - half, min(b, d) - half, max(a, c) + half, max(b, d) + half)


def text_on_text(d: Inked) -> list[tuple[str, str]]:
    """Words that lie on other words."""
    rects = [(t.words, t.rect()) for t in d.texts]
    return [(a, b) for i, (a, r) in enumerate(rects) for b, q in rects[i + 1 :] if over(r, q)]


def text_on_shape(d: Inked) -> list[tuple[str, str]]:
    """Words that lie on a symbol."""
    grown = [(p, (r[0] - 0.5, r[1] - 0.5, r[2] + 0.5, r[3] + 0.5)) for p, r in d.shapes]
    rects = [(t.words, t.rect()) for t in d.texts]
    return [(w, p) for w, q in rects for p, r in grown if over(q, r)]


def text_on_line(d: Inked) -> list[tuple[str, str]]:
    """Words that lie on a line."""
    rects = [(t.words, t.rect()) for t in d.texts]
    inks = [(net, box(ln)) for net, lines in d.nets for ln in lines]
    return [(w, net) for w, q in rects for net, ink in inks if over(q, ink)]


def line_on_shape(d: Inked) -> list[tuple[str, str]]:
    """Lines that run over a symbol (they may touch it where they end)."""
    found = []
    for net, lines in d.nets:
        for a, b, c, e in lines:
            short = (a, b + 1.5, c, e - 1.5) if a == c else (min(a, c) + 1.5, b, max(a, c) - 1.5, e)
            ink = box(short)
            found += [(net, p) for p, r in d.shapes if over(ink, (r[0] - 0.5, r[1], r[2] + 0.5, r[3]))]
    return found


def net_on_net(d: Inked) -> list[tuple[str, str]]:
    """Lines of two nets that lie on each other or touch anywhere but in a clean crossing."""
    flat = [(i, net, ln) for i, (net, lines) in enumerate(d.nets) for ln in lines]
    found = []
    for k, (i, m, p) in enumerate(flat):
        for j, n, q in flat[k + 1 :]:
            if i == j or not over(box(p, 1.0), box(q, 1.0)):
                continue
            up_p, up_q = p[0] == p[2], q[0] == q[2]
            if up_p == up_q:
                found.append((m, n))
                continue
            v, h = (p, q) if up_p else (q, p)
            inside = min(h[0], h[2]) + 1 < v[0] < max(h[0], h[2]) - 1 and v[1] + 1 < h[1] < v[3] - 1
            if not inside:
                found.append((m, n))
    return found


def slanted(d: Inked) -> list[Line]:
    """Lines that are neither upright nor level."""
    return [ln for _, lines in d.nets for ln in lines if ln[0] != ln[2] and ln[1] != ln[3]]


def torn(d: Inked) -> list[str]:
    """Points of a drawn net that its lines do not join, and bends of three or more without a dot."""
    wrong: list[str] = []
    for net, lines in d.nets:
        parent: dict[At, At] = {}

        def find(at: At, parent: dict[At, At] = parent) -> At:
            parent.setdefault(at, at)
            while parent[at] != at:
                at = parent[at]
            return at

        meets: dict[At, int] = {}
        for a, b, c, e in lines:
            parent[find((a, b))] = find((c, e))
            for end in ((a, b), (c, e)):
                meets[end] = meets.get(end, 0) + 1
        if len({find(p) for p in list(parent)}) > 1:
            wrong.append(net)
        wrong += [f"no dot: {net}" for p, n in meets.items() if n >= 3 and p not in d.dots]
    return wrong


def unjoined(d: Inked) -> list[str]:
    """Metals with points in several places and not all of them on one drawn net or in one place."""
    wrong = []
    metals: dict[str, set[tuple[float, float]]] = {}
    for _, metal, x, y in d.points:
        metals.setdefault(metal, set()).add((x, y))
    for metal, places in metals.items():
        if len(places) < 2:
            continue
        ends = [
            {p for a, b, c, e in lines for p in ((a, b), (c, e))} for net, lines in d.nets if net == metal
        ]
        if not any(places <= e for e in ends):
            wrong.append(metal)
    return wrong


def outside(d: Inked) -> list[str]:
    """Whatever leaves the picture."""
    width, height = float(d.root.get("width", "")), float(d.root.get("height", ""))
    marks = [(net, box(ln)) for net, lines in d.nets for ln in lines]
    marks += d.shapes + [(t.words, t.rect()) for t in d.texts]
    return [name for name, r in marks if r[0] < 0 or r[1] < 0 or r[2] > width or r[3] > height]
