"""A recording on a terminal of 80 columns: one row a channel, phases above, events below."""

from __future__ import annotations

import numpy as np

from amptrail.recording.picture import Picture, Row
from amptrail.recording.words import rounded

WIDTH, LABEL, FIGURES = 80, 14, 16
COLUMNS = WIDTH - LABEL - FIGURES
BARS = "▁▂▃▄▅▆▇█"
ABBREVIATED = 3  # letters a phase is told by, at least
BUSY = "┃"  # a slice that goes over more than half of the range


def rows(drawn: Picture) -> str:
    """Lines of at most 80 characters: for every channel of every recording a row, with lowest and highest."""
    if not drawn.rows:
        return ""
    length = drawn.end_s - drawn.begin_s
    lines = [_phases(drawn, length)] if drawn.spans else []
    for r in drawn.rows:
        for n in range(len(r.traces)):
            lines.append(_trace(drawn, r, n, length))
    lines.append(_marks(drawn, length))
    ends = f"{drawn.begin_s:.3f} s", f"{drawn.end_s:.3f} s"
    lines.append(" " * LABEL + ends[0] + ends[1].rjust(COLUMNS - len(ends[0])))
    return "\n".join(x.rstrip() for x in lines if x.strip()) + "\n"


def _at(drawn: Picture, t_s: float, length: float) -> int:
    return int(min(max((t_s - drawn.begin_s) / length * COLUMNS, 0), COLUMNS - 1))


def _phases(drawn: Picture, length: float) -> str:
    shift = next((s.shift_s for s in drawn.seen if s.spans), 0.0)
    cells = [" "] * COLUMNS
    for s in drawn.spans:
        begin = (s.begin_s + shift - drawn.begin_s) / length * COLUMNS
        end = (s.end_s + shift - drawn.begin_s) / length * COLUMNS
        if end <= 0 or begin >= COLUMNS:
            continue
        a, b = max(int(begin), 0), min(int(end), COLUMNS)
        room = b - a - 1
        word = s.phase if room >= len(s.phase) else s.phase[:room] if room >= ABBREVIATED else ""
        for k, letter in enumerate("|" + word):
            cells[min(a + k, COLUMNS - 1)] = letter
    return " " * LABEL + "".join(cells)


def _trace(drawn: Picture, r: Row, n: int, length: float) -> str:
    t = r.traces[n]
    low, high = np.full(COLUMNS, np.inf), np.full(COLUMNS, -np.inf)
    at = np.clip(((t.t_s - drawn.begin_s) / length * COLUMNS).astype(np.int64), 0, COLUMNS - 1)
    np.minimum.at(low, at, t.low)
    np.maximum.at(high, at, t.high)
    span = r.high - r.low
    cells = []
    for a, b in zip(low, high, strict=True):
        if not np.isfinite(a):
            cells.append(" ")
        elif span > 0 and b - a > 0.5 * span:
            cells.append(BUSY)
        else:
            share = ((a + b) / 2 - r.low) / span if span > 0 else 0.0
            cells.append(BARS[min(int(share * len(BARS)), len(BARS) - 1)])
    several = len(drawn.seen) > 1
    name = (f"{t.which + 1} " if several else "") + r.name
    short = name if len(name) < LABEL else name[: LABEL - 2] + "…"
    unit = r.unit or ""
    figures = f" {rounded(r.low, span)}..{rounded(r.high, span)} {unit}"
    return short.ljust(LABEL) + "".join(cells) + figures[:FIGURES]


def _marks(drawn: Picture, length: float) -> str:
    cells = [" "] * COLUMNS
    for r in drawn.rows:
        for n, e in r.events:
            cells[_at(drawn, e.t_s + drawn.seen[n].shift_s, length)] = "^"
    return "events".ljust(LABEL) + "".join(cells) if "^" in cells else ""
