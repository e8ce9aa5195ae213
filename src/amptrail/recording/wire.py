"""What a page draws a recording from: rows, events and phases as plain data, slices of lowest and highest as
little-endian float32.

The bytes: `SLICES`, number of traces (two uint32); then for each trace 32 bytes: recording, channel, slices
n, 0 (uint32), instant of the first slice's middle and distance of two slices (float64, s, in the picture's
time); then for each trace n lowest and n highest (float32, in the channel's unit).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Any

import numpy as np

from amptrail.recording.picture import Seen, aligned, named, slices
from amptrail.recording.words import told

SLICES = 0x31534D41  # "AMS1"
HEAD, TRACE = struct.Struct("<II"), struct.Struct("<IIIIdd")
MOST_COLUMNS = 20_000
MOST_EVENTS = 5_000


def packed(seen: Sequence[Seen], begin_s: float, end_s: float, columns: int) -> bytes:
    """Every channel of one or more recordings over a stretch of the picture's time, in at most `columns`
    slices; channels that were not recorded there are left out."""
    columns = min(max(columns, 1), MOST_COLUMNS)
    heads: list[bytes] = []
    bodies: list[bytes] = []
    length = max(end_s - begin_s, 1e-9)
    for n, s in enumerate(aligned(seen)):
        for k, c in enumerate(s.recording.channels):
            a, b = max(begin_s - s.shift_s, c.t0_s), min(begin_s + length - s.shift_s, c.end_s)
            if b < a or not c.samples:
                continue
            t, low, high = slices(c, a, b, max(round(columns * (b - a) / length), 1))
            step = float(t[1] - t[0]) if t.shape[0] > 1 else c.dt_s
            heads.append(TRACE.pack(n, k, t.shape[0], 0, float(t[0]) + s.shift_s, step))
            bodies += [low.astype("<f4").tobytes(), high.astype("<f4").tobytes()]
    return b"".join((HEAD.pack(SLICES, len(heads)), *heads, *bodies))


def told_of(seen: Sequence[Seen]) -> dict[str, Any]:
    """Rows (name, unit, range over all recordings), and for each recording its channels, events and phases;
    instants in the picture's time, s."""
    over = aligned(seen)
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    files: list[dict[str, Any]] = []
    begin, end = np.inf, -np.inf
    for s in over:
        channels = []
        at: dict[str, int] = {}
        for c in s.recording.channels:
            key = (named(c).casefold(), c.unit)
            row = rows.setdefault(key, {"name": named(c), "unit": c.unit, "low": np.inf, "high": -np.inf})
            place = list(rows).index(key)
            at[c.name] = place
            channels.append({"row": place, "name": c.name, "samples": c.samples, "dt_s": c.dt_s})
            if not c.samples:
                continue
            row["low"] = min(row["low"], float(c.overview.low.min()))
            row["high"] = max(row["high"], float(c.overview.high.max()))
            begin, end = min(begin, c.t0_s + s.shift_s), max(end, c.end_s + s.shift_s)
        units = {c.name: c.unit for c in s.recording.channels}
        files.append({
            "name": s.recording.source, "format": s.recording.format, "shift_s": s.shift_s,
            "channels": channels,
            "events": [
                {"t_s": e.t_s + s.shift_s, "row": at[e.channel], "kind": e.kind, "channel": e.channel,
                 "words": told(e, units[e.channel]), "low_s": e.t_low_s + s.shift_s,
                 "high_s": e.t_high_s + s.shift_s, "confidence": e.confidence}
                for e in s.events[:MOST_EVENTS]
            ],
            "more_events": max(len(s.events) - MOST_EVENTS, 0),
            "phases": [
                {"phase": p.phase, "begin_s": p.begin_s + s.shift_s, "end_s": p.end_s + s.shift_s}
                for p in s.spans
            ],
        })  # fmt: skip
    for row in rows.values():
        if not np.isfinite(row["low"]):
            row["low"], row["high"] = 0.0, 1.0
    known = bool(np.isfinite(begin))
    return {"begin_s": float(begin) if known else 0.0, "end_s": float(end) if known else 1.0,
            "rows": list(rows.values()), "files": files}  # fmt: skip
