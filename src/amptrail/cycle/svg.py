"""A timeline as SVG: the same lanes, readable on a phone, the same bytes for the same timeline."""

from __future__ import annotations

import textwrap
from html import escape

from amptrail.cycle.axis import Axis, axis, clock
from amptrail.cycle.lanes import BUZZES, ON, Band, Lane, lanes
from amptrail.cycle.text import ending
from amptrail.cycle.timeline import Timeline

WIDTH, LABEL, EDGE = 390, 108, 8  # a phone held upright
ROW, BAR = 24, 14
STRETCHES, LEAST = 34, 7  # stretches of time, and the narrowest, in units of the drawing
WRAP = 54
EVENTS = 24
STYLE = (
    "text{font:12px sans-serif;fill:#111}.s{font-size:11px}.n{font-weight:bold}"
    ".on{fill:#1f4e79}.off{fill:none;stroke:#999;stroke-width:1}.edge{stroke:#bbb;stroke-width:1}"
    ".band{fill:#f0f0f0}.then{fill:#e4e0d4}"
)
HATCH = (
    '<pattern id="buzz" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="6" height="6" fill="#fff"/><rect width="3" height="6" fill="#a33"/></pattern>'
)
MARK = {"relay": "relay ", "fuse": "open: "}


def _text(x: float, y: float, words: str, kind: str = "") -> str:
    style = f' class="{kind}"' if kind else ""
    return f'<text x="{x:g}" y="{y:g}"{style}>{escape(words)}</text>'


def _bands(bands: tuple[Band, ...], x: Axis, bottom: float) -> list[str]:
    out = []
    for n, b in enumerate(bands, 1):
        left, right = LABEL + x.cell(b.begin_s), LABEL + x.cell(b.end_s)
        if n % 2 == 0 or b.before:
            kind = "then" if b.before else "band"
            out.append(
                f'<rect class="{kind}" x="{left}" y="20" width="{right - left}" height="{bottom - 20:g}"/>'
            )
        out.append(f'<line class="edge" x1="{left}" y1="6" x2="{left}" y2="{bottom:g}"/>')
        out.append(_text(left + 2, 16, str(n), "s n"))
    return out


def _lane(lane: Lane, x: Axis, top: float) -> list[str]:
    name = MARK.get(lane.kind, "") + lane.name
    short = name if len(name) <= 16 else name[:15] + "…"
    out = [_text(EDGE, top + 15, short)]
    end = LABEL + x.width
    middle = top + ROW / 2
    out.append(f'<line class="off" x1="{LABEL}" y1="{middle:g}" x2="{end}" y2="{middle:g}"/>')
    for begin, until, value in lane.spans:
        left, right = LABEL + x.cell(begin), LABEL + x.cell(until)
        if value in (ON, BUZZES) and right > left:
            fill = ' class="on"' if value == ON else ' fill="url(#buzz)" stroke="#a33"'
            y = top + (ROW - BAR) / 2
            words = f"{name} {'on' if value == ON else 'switches for ever'} {clock(begin)} to {clock(until)}"
            out.append(
                f'<rect{fill} x="{left}" y="{y:g}" width="{right - left}" height="{BAR}">'
                f"<title>{escape(words)}</title></rect>"
            )
    return out


def _words(timeline: Timeline, bands: tuple[Band, ...]) -> list[tuple[str, str]]:
    lines = [
        (
            f"{n} {b.phase}, {clock(b.begin_s)} to {clock(b.end_s)}"
            + (", before the change" if b.before else ""),
            "",
        )
        for n, b in enumerate(bands, 1)
    ]
    told = [i for i in timeline.instants if i.changes]
    lines.append(("What switches", "n"))
    for i in told[:EVENTS]:
        text = f"{clock(i.t_s)}: {', '.join(map(str, i.changes))}"
        lines += [(x, "") for x in textwrap.wrap(text, WRAP, subsequent_indent="   ")]
    if len(told) > EVENTS:
        lines.append((f"and {len(told) - EVENTS} more moments", ""))
    lines.append(("How it ends", "n"))
    for line in ending(timeline):
        lines += [(x, "") for x in textwrap.wrap(line.strip(), WRAP, subsequent_indent="   ")]
    return lines


def svg(timeline: Timeline) -> str:
    """The drawing as one SVG document, 390 units wide."""
    drawn = lanes(timeline)
    room = WIDTH - LABEL - EDGE
    x = axis(drawn, room, min(STRETCHES, room // LEAST), LEAST)
    bottom = 22 + ROW * len(drawn.lanes)
    body = _bands(drawn.bands, x, bottom)
    for n, lane in enumerate(drawn.lanes):
        body += _lane(lane, x, 22 + ROW * n)
    y = bottom + 20.0
    for words, kind in _words(timeline, drawn.bands):
        body.append(_text(EDGE, y, words, kind))
        y += 16
    title = f"Drive cycle from {timeline.start}, order {timeline.order}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {y:g}" role="img" '
        f'aria-label="{escape(title, quote=True)}"><title>{escape(title)}</title><defs><style>{STYLE}</style>'
        f"{HATCH}</defs>" + "".join(body) + "</svg>\n"
    )
