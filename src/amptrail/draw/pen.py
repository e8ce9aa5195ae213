"""A pen that writes SVG shapes and remembers where ink went, so that collisions can be counted."""

from __future__ import annotations

from itertools import pairwise

from amptrail.draw.measure import Rect
from amptrail.draw.text import DETAIL_PX, clean, escape, width


def n(value: float) -> str:
    """A number as short as it can be written."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


class Pen:
    """Shapes of one symbol. `ink` are rectangles its strokes fill, `words` those of its text."""

    def __init__(self) -> None:
        self.out: list[str] = []
        self.ink: list[Rect] = []
        self.words: list[Rect] = []

    def line(self, *points: tuple[float, float], css: str = "") -> None:
        """An open polyline."""
        d = "M" + "L".join(f"{n(x)} {n(y)}" for x, y in points)
        self.out.append(f'<path d="{d}"{_css(css)}/>')
        for (x0, y0), (x1, y1) in pairwise(points):
            self.ink.append((min(x0, x1) - 0.75, min(y0, y1) - 0.75, max(x0, x1) + 0.75, max(y0, y1) + 0.75))

    def filled(self, *points: tuple[float, float]) -> None:
        """A filled polygon."""
        d = "M" + "L".join(f"{n(x)} {n(y)}" for x, y in points) + "Z"
        self.out.append(f'<path d="{d}" class="solid"/>')
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        self.ink.append((min(xs), min(ys), max(xs), max(ys)))

    def rect(self, x: float, y: float, w: float, h: float, css: str = "") -> None:
        """A rectangle whose inside belongs to the symbol."""
        self.out.append(f'<rect x="{n(x)}" y="{n(y)}" width="{n(w)}" height="{n(h)}"{_css(css)}/>')
        self.ink.append((x, y, x + w, y + h))

    def frame(self, x: float, y: float, w: float, h: float) -> None:
        """A rectangle with words inside: only its edges are ink."""
        self.out.append(f'<rect x="{n(x)}" y="{n(y)}" width="{n(w)}" height="{n(h)}" rx="3"/>')
        for r in ((x, y, x + w, y), (x, y + h, x + w, y + h), (x, y, x, y + h), (x + w, y, x + w, y + h)):
            self.ink.append((r[0] - 0.75, r[1] - 0.75, r[2] + 0.75, r[3] + 0.75))

    def circle(self, x: float, y: float, r: float, css: str = "") -> None:
        """A circle whose inside belongs to the symbol."""
        self.out.append(f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(r)}"{_css(css)}/>')
        self.ink.append((x - r, y - r, x + r, y + r))

    def letter(self, x: float, y: float, text: str) -> None:
        """A letter that is part of a symbol (M in a circle)."""
        self.out.append(
            f'<text x="{n(x)}" y="{n(y + 4.5)}" class="in" text-anchor="middle">{escape(text)}</text>'
        )

    def text(
        self, x: float, y: float, text: str, css: str = "", size: float = DETAIL_PX, middle: bool = False
    ) -> None:
        """A line of words with its baseline at y."""
        if not text:
            return
        anchor = ' text-anchor="middle"' if middle else ""
        self.out.append(f'<text x="{n(x)}" y="{n(y)}"{anchor}{_css(css)}>{escape(clean(text))}</text>')
        w = width(text, size)
        left = x - w / 2 if middle else x
        self.words.append((left, y - 0.78 * size, left + w, y + 0.2 * size))


def _css(css: str) -> str:
    return f' class="{css}"' if css else ""
