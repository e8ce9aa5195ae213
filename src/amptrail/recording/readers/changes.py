"""VCD (IEEE 1364): changes of logic and real values, laid on an even grid; pyvcd reads the tokens."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from amptrail.errors import one
from amptrail.recording.channel import Channel, Recording
from amptrail.recording.readers import Asked
from amptrail.recording.spool import Spool

MOST_SAMPLES = 20_000_000  # a channel; finer changes than the grid this leaves are merged
CHUNK = 1 << 20


def read(path: Path, asked: Asked) -> Recording:
    """Each variable as a channel that keeps its value until the next change (x and z read as 0, with a
    note)."""
    from vcd.reader import TokenKind, VCDParseError, tokenize

    names: dict[str, str] = {}
    scope: list[str] = []
    times: dict[str, list[int]] = {}
    values: dict[str, list[float]] = {}
    unit_s, now, unknown, backwards, notes = 1e-9, 0, 0, 0, list[str]()
    try:
        with path.open("rb") as f:
            for token in tokenize(f):
                kind = token.kind
                if kind is TokenKind.CHANGE_TIME:
                    backwards += token.time_change < now
                    now = max(now, token.time_change)
                elif kind in (TokenKind.CHANGE_SCALAR, TokenKind.CHANGE_REAL, TokenKind.CHANGE_VECTOR):
                    change = _change(token, kind, TokenKind)
                    if change[0] in names:
                        value = _number(change[1])
                        unknown += value is None
                        times[change[0]].append(now)
                        values[change[0]].append(value or 0.0)
                elif kind is TokenKind.TIMESCALE:
                    unit_s = float(int(token.timescale.magnitude)) * _UNIT[token.timescale.unit.value]
                elif kind is TokenKind.SCOPE:
                    scope.append(token.scope.ident)
                elif kind is TokenKind.UPSCOPE:
                    scope.pop()
                elif kind is TokenKind.VAR:
                    name = token.var.reference
                    names.setdefault(token.var.id_code, name)
                    times.setdefault(token.var.id_code, [])
                    values.setdefault(token.var.id_code, [])
    except (VCDParseError, ValueError, IndexError) as e:
        if not any(times.values()):
            raise one("broken-vcd", f"the VCD file cannot be read: {e}", remedy="write it again") from e
        notes.append(f"the file breaks off ({e}); what came before was read")
    last = max((t[-1] for t in times.values() if t), default=None)
    if last is None:
        raise one("no-samples", "the VCD file holds no changes", remedy="record again")
    last = max(last, now)
    first = min(t[0] for t in times.values() if t)
    step = 0
    for t in times.values():
        step = (
            math.gcd(step, int(np.gcd.reduce(np.diff(np.asarray([first, *t, last], np.int64)))))
            if t
            else step
        )
    step = max(step, 1)
    if (last - first) // step > MOST_SAMPLES:
        step = -(-(last - first) // MOST_SAMPLES)
        notes.append(f"laid on a grid of {step * unit_s:.3g} s; finer changes were merged")
    if backwards:
        notes.append(f"time went back {backwards} times; those changes were put where it had been")
    if unknown:
        notes.append(f"{unknown} changes to unknown (x or z) were read as 0")
    count = (last - first) // step + 1
    spool = Spool(len(names))
    with spool:
        for k, code in enumerate(names):
            at = (np.asarray(times[code], np.int64) - first) // step
            held = np.asarray(values[code], np.float32)
            for begin in range(0, count, CHUNK):
                place = np.searchsorted(at, np.arange(begin, min(begin + CHUNK, count)), side="right") - 1
                block = held[np.maximum(place, 0)] if held.shape[0] else np.zeros(place.shape[0], np.float32)
                spool.add(k, np.where(place >= 0, block, np.float32(0)))
    maps = spool.maps()
    got = tuple(
        Channel(name, "", step * unit_s, first * unit_s, m)  # type: ignore[arg-type]
        for name, m in zip(names.values(), maps, strict=True)
    )
    return Recording(path.name, "vcd", got, tuple(notes))


_UNIT = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}


def _change(token: Any, kind: Any, kinds: Any) -> tuple[str, Any]:
    if kind is kinds.CHANGE_SCALAR:
        return token.scalar_change.id_code, token.scalar_change.value
    if kind is kinds.CHANGE_REAL:
        return token.real_change.id_code, token.real_change.value
    return token.vector_change.id_code, token.vector_change.value


def _number(value: Any) -> float | None:
    try:
        found = float(value)
    except (TypeError, ValueError):
        return None
    return found if math.isfinite(found) else None
