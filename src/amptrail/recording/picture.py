"""One or two recordings as rows of a picture: common time, rows by channel, slices of lowest and highest.

Both drawings (`svg`, `rows`) are made from this, so that they cannot differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.recording.channel import Channel, Recording
from amptrail.recording.events import Event
from amptrail.recording.overview import window
from amptrail.recording.phases import Span

Floats = NDArray[np.float64]
ALIGNED_BY = ("key_on", "crank_start", "woken")  # what two drives are laid over each other by, in this order


@dataclass(frozen=True, eq=False)
class Seen:
    """A recording with what was found in it; `shift_s` is added to its instants in the picture."""

    recording: Recording
    events: tuple[Event, ...]
    spans: tuple[Span, ...]
    shift_s: float = 0.0


@dataclass(frozen=True, eq=False)
class Trace:
    """`low`, `high` (slices,) of a channel at instants `t_s` (slices,), in its unit; `which` recording."""

    which: int
    t_s: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, eq=False)
class Row:
    """One row of the picture: the same channel of every recording, and the range of all of them."""

    name: str
    unit: str
    traces: tuple[Trace, ...]
    low: float
    high: float
    events: tuple[tuple[int, Event], ...]  # which recording, and the event


@dataclass(frozen=True, eq=False)
class Picture:
    """Rows over `begin_s`..`end_s`; phases are those of the first recording that has some."""

    seen: tuple[Seen, ...]
    begin_s: float
    end_s: float
    rows: tuple[Row, ...]
    spans: tuple[Span, ...]


def slices(c: Channel, begin_s: float, end_s: float, columns: int) -> tuple[Floats, Floats, Floats]:
    """(instant of the middle, lowest, highest) of at most `columns` slices of a channel from begin to end."""
    first = int(min(max(np.ceil((begin_s - c.t0_s) / c.dt_s - 1e-9), 0), max(c.samples - 1, 0)))
    last = int(min(max(np.floor((end_s - c.t0_s) / c.dt_s + 1e-9) + 1, first + 1), c.samples))
    low, high = window(c.data, c.plain, first, last, columns)
    a, b = low * c.factor + c.offset, high * c.factor + c.offset
    edges = np.linspace(first, max(last, first + 1), low.shape[0] + 1)
    t = c.t0_s + (edges[:-1] + edges[1:] - 1) / 2 * c.dt_s
    return t, np.minimum(a, b).astype(np.float64), np.maximum(a, b).astype(np.float64)


def aligned(seen: Sequence[Seen]) -> tuple[Seen, ...]:
    """Every recording moved so that the first happening they have in common is at one instant; at their
    beginnings when they have none."""
    if len(seen) < 2:
        return tuple(seen)

    def first(s: Seen, kind: str) -> float | None:
        return next((e.t_s for e in s.events if e.kind == kind), None)

    for kind in ALIGNED_BY:
        at = [first(s, kind) for s in seen]
        if all(t is not None for t in at):
            break
    else:
        at = [min((c.t0_s for c in s.recording.channels), default=0.0) for s in seen]
    return tuple(
        Seen(s.recording, s.events, s.spans, float(at[0] or 0) - float(t or 0))
        for s, t in zip(seen, at, strict=True)
    )


def named(c: Channel) -> str:
    """What a channel is called in a picture: its point, else its own name."""
    return c.point or c.name


def picture(
    seen: Sequence[Seen], columns: int, begin_s: float | None = None, end_s: float | None = None
) -> Picture:
    """The rows of one or more recordings laid over each other, in `columns` slices over the common time."""
    over = aligned(seen)
    times = [
        (c.t0_s + s.shift_s, c.end_s + s.shift_s) for s in over for c in s.recording.channels if c.samples
    ]
    begin = begin_s if begin_s is not None else min((a for a, _ in times), default=0.0)
    end = end_s if end_s is not None else max((b for _, b in times), default=1.0)
    end = max(end, begin + 1e-9)
    order: dict[tuple[str, str], str] = {}
    for s in over:
        for c in s.recording.channels:
            order.setdefault((named(c).casefold(), c.unit), named(c))
    rows = [_row(over, key, name, begin, end, columns) for key, name in order.items()]
    spans = next((s.spans for s in over if s.spans), ())
    return Picture(over, begin, end, tuple(r for r in rows if r.traces), spans)


def _row(
    over: Sequence[Seen], key: tuple[str, str], name: str, begin: float, end: float, columns: int
) -> Row:
    traces: list[Trace] = []
    events: list[tuple[int, Event]] = []
    for n, s in enumerate(over):
        for c in s.recording.channels:
            if (named(c).casefold(), c.unit) != key or not c.samples:
                continue
            a, b = max(begin - s.shift_s, c.t0_s), min(end - s.shift_s, c.end_s)
            if b < a:
                continue
            share = (b - a) / (end - begin)
            t, low, high = slices(c, a, b, max(round(columns * share), 1))
            traces.append(Trace(n, t + s.shift_s, low, high))
            events += [(n, e) for e in s.events if e.channel == c.name and begin <= e.t_s + s.shift_s <= end]
    low_all = min((float(t.low.min()) for t in traces), default=0.0)
    high_all = max((float(t.high.max()) for t in traces), default=1.0)
    return Row(name, key[1], tuple(traces), low_all, high_all, tuple(events))
