"""A picture of recordings as SVG, the same bytes for the same recordings.

Channels stacked, events marked, phases shaded and named, a second recording laid over the first.
"""

from __future__ import annotations

import math
from html import escape

from amptrail.recording.picture import Picture, Row, Trace
from amptrail.recording.words import WORDS, figure, rounded

WIDTH, LABEL, EDGE = 720, 110, 10
COLUMNS = WIDTH - LABEL - EDGE
TOP, TALL, GAP = 34, 84, 14
EVENTS = 60  # so many are listed in words
ROOM = 18.0  # between the numbers of two events; the one without is found in the list
LETTER = 6.2  # width of a letter, for what fits
STYLE = (
    "text{font:12px sans-serif;fill:#111}.s{font-size:11px;fill:#444}.n{font-weight:bold}"
    ".p{fill:#f1efe6}.q{fill:#fff}.g{stroke:#ddd;stroke-width:1}.e{stroke:#a33;stroke-width:1}"
    ".t0{fill:#1f4e79;stroke:#1f4e79;stroke-width:1;stroke-linejoin:round}"
    ".t1{fill:none;stroke:#b35900;stroke-width:1;stroke-dasharray:5 2}"
)


def _text(x: float, y: float, words: str, kind: str = "", end: bool = False) -> str:
    style = (f' class="{kind}"' if kind else "") + (' text-anchor="end"' if end else "")
    return f'<text x="{x:.1f}" y="{y:.1f}"{style}>{escape(words)}</text>'


class _Scale:
    """Instants and values to places in the drawing."""

    def __init__(self, drawn: Picture) -> None:
        self.begin, self.length = drawn.begin_s, drawn.end_s - drawn.begin_s

    def x(self, t_s: float) -> float:
        return LABEL + min(max((t_s - self.begin) / self.length, 0.0), 1.0) * COLUMNS

    @staticmethod
    def y(value: float, row: Row, top: float) -> float:
        span = row.high - row.low
        return top + TALL * (1 - ((value - row.low) / span if span > 0 else 0.5))


def ticks(begin: float, end: float, most: int = 8) -> list[float]:
    """Round instants (1, 2, 5 and their tens) between two, at most `most` + 1."""
    raw = (end - begin) / most
    ten = 10.0 ** math.floor(math.log10(raw))
    step = next(m * ten for m in (1, 2, 5, 10) if m * ten >= raw * (1 - 1e-9))
    first = math.ceil(begin / step - 1e-9)
    return [k * step for k in range(first, math.floor(end / step + 1e-9) + 1)]


def _phases(drawn: Picture, at: _Scale, bottom: float) -> tuple[list[str], list[str]]:
    """Shades with a name where it fits, else a letter where that does, else nothing; and the list of all."""
    out: list[str] = []
    words: list[str] = []
    names: list[tuple[float, str]] = []
    letters: list[tuple[float, str]] = []
    shift = next((s.shift_s for s in drawn.seen if s.spans), 0.0)
    for n, s in enumerate(drawn.spans, 1):
        left, right = at.x(s.begin_s + shift), at.x(s.end_s + shift)
        if right - left < 0.5:
            continue
        kind = "p" if n % 2 else "q"
        out.append(
            f'<rect class="{kind}" x="{left:.1f}" y="18" width="{right - left:.1f}" '
            f'height="{bottom - 18:.1f}"/>'
        )
        letter = chr(ord("A") + (n - 1) % 26)
        fits = len(s.phase) * LETTER < right - left
        (names if fits else letters).append((left, s.phase if fits else letter))
        words.append(f"{letter} {s.phase}, {s.begin_s:.3f} s to {s.end_s:.3f} s")
    placed: list[tuple[float, str]] = []
    for x, said in (*names, *letters):  # names first: a letter gives way
        if all(x + _wide(said) <= other or other + _wide(w) <= x for other, w in placed):
            placed.append((x, said))
    out += [_text(x + 2, 14, said, "s") for x, said in placed]
    return out, words


def _wide(words: str) -> float:
    return len(words) * LETTER + 4


def _path(t: Trace, row: Row, at: _Scale, top: float) -> str:
    """The area between lowest and highest of each slice, out along the highest and back along the lowest."""
    there = [f"{at.x(x):.1f} {at.y(v, row, top):.1f}" for x, v in zip(t.t_s, t.high, strict=True)]
    back = [f"{at.x(x):.1f} {at.y(v, row, top):.1f}" for x, v in zip(t.t_s[::-1], t.low[::-1], strict=True)]
    return f'<path class="t{min(t.which, 1)}" d="M{" L".join(there + back)}Z"/>'


def _row(drawn: Picture, row: Row, at: _Scale, top: float, numbers: dict[int, int]) -> list[str]:
    name = row.name if len(row.name) <= 15 else row.name[:14] + "…"
    unit = f" {row.unit}" if row.unit else ""
    out = [
        _text(EDGE, top + TALL / 2 + 4, name, "n"),
        _text(LABEL - 4, top + 10, rounded(row.high, row.high - row.low) + unit, "s", end=True),
        _text(LABEL - 4, top + TALL, rounded(row.low, row.high - row.low) + unit, "s", end=True),
        f'<line class="g" x1="{LABEL}" y1="{top + TALL:.1f}" x2="{LABEL + COLUMNS}" y2="{top + TALL:.1f}"/>',
    ]
    out += [_path(t, row, at, top) for t in row.traces]
    taken = -ROOM
    for n, e in sorted(row.events, key=lambda o: (o[1].t_s + drawn.seen[o[0]].shift_s, o[0], o[1].kind)):
        x = at.x(e.t_s + drawn.seen[n].shift_s)
        words = " ".join(x for x in (WORDS[e.kind], figure(e.kind, e.value, row.unit)) if x)
        out.append(
            f'<line class="e" x1="{x:.1f}" y1="{top - 4:.1f}" x2="{x:.1f}" y2="{top + TALL:.1f}">'
            f"<title>{escape(f'{words}, {e.t_s:.4f} s')}</title></line>"
        )
        if id(e) in numbers and x - taken >= ROOM:
            taken = x
            out.append(_text(x + 2, top - 3, str(numbers[id(e)]), "s"))
    return out


def svg(drawn: Picture, listed: bool = True) -> str:
    """The picture as one SVG document, 720 units wide; `listed`: its phases and events once more in words
    under it."""
    at = _Scale(drawn)
    bottom = TOP + len(drawn.rows) * (TALL + GAP)
    told = sorted(
        ((e.t_s + drawn.seen[n].shift_s, n, row, e) for row in drawn.rows for n, e in row.events),
        key=lambda x: (x[0], x[1], x[2].name, x[3].kind),
    )
    numbers = {id(e): k for k, (_, _, _, e) in enumerate(told[:EVENTS], 1)} if listed else {}
    body, words = _phases(drawn, at, bottom)
    for t in ticks(drawn.begin_s, drawn.end_s):
        body.append(f'<line class="g" x1="{at.x(t):.1f}" y1="18" x2="{at.x(t):.1f}" y2="{bottom:.1f}"/>')
        words_at = f"{t:.6g} s"
        over = at.x(t) + len(words_at) * LETTER > WIDTH
        body.append(_text(WIDTH - 2 if over else at.x(t), bottom + 12, words_at, "s", end=over))
    for k, row in enumerate(drawn.rows):
        body += _row(drawn, row, at, TOP + k * (TALL + GAP), numbers)
    several = len(drawn.seen) > 1
    lines = [
        f"{k + 1} {s.recording.source}: {'blue' if k == 0 else 'orange, dashed'}"
        + (f", moved {s.shift_s:+.4f} s" if s.shift_s else "")
        for k, s in enumerate(drawn.seen)
        if several
    ]
    lines += words if listed else []
    for k, (_, n, row, e) in enumerate(told[:EVENTS] if listed else (), 1):
        more = figure(e.kind, e.value, row.unit)
        where = f"{drawn.seen[n].recording.source}: " if several else ""
        lines.append(f"{k}  {e.t_s:.4f} s  {where}{row.name} {WORDS[e.kind]}{', ' + more if more else ''}")
    if listed and len(told) > EVENTS:
        lines.append(f"and {len(told) - EVENTS} more")
    y = bottom + 32.0
    for line in lines:
        body.append(_text(EDGE, y, line))
        y += 16
    title = "Recording " + " and ".join(s.recording.source for s in drawn.seen) + ", time in s"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {y:g}" role="img" '
        f'aria-label="{escape(title, quote=True)}"><title>{escape(title)}</title><defs><style>{STYLE}</style>'
        "</defs>" + "".join(body) + "</svg>\n"
    )
