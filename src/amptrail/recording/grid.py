"""Columns with instants beside them -> evenly spaced channels; what was uneven, missing or backwards is
told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.errors import one
from amptrail.recording.channel import Channel
from amptrail.recording.ruler import Ruler
from amptrail.recording.spool import Spool

Times = NDArray[np.float64]
CHUNK = 1 << 20
UNEVEN = 0.25  # of a sample: a written instant further than this from its even place is not rounding
STRAY = 2  # samples ahead of its place
MOST_GAP = 10_000_000  # samples; a longer pause is a second recording, not missing samples


@dataclass(frozen=True, slots=True)
class Column:
    """Name and unit of a column as the file gives them."""

    name: str
    unit: str


Block = tuple[Times | None, list[NDArray[np.generic]]]


class Filled:
    """Replaces samples that are not numbers by the last one that was (the first that is, at the
    beginning)."""

    def __init__(self, width: int) -> None:
        self._last = [np.float32(np.nan)] * width
        self.missing = 0
        self.told = [False] * width  # whether a column ever held a number

    def column(self, k: int, samples: NDArray[np.generic]) -> NDArray[np.float32]:
        """Samples (n,) of column k, all finite (0 where nothing was ever read)."""
        x = np.array(samples, np.float32)
        # a sum is finite when all its terms are, unless they are too large for it: then a closer look
        with np.errstate(over="ignore", invalid="ignore"):
            total = np.add.reduce(x) if x.shape[0] else np.float32(0)
        if not np.isfinite(total) and (bad := ~np.isfinite(x)).any():
            self.told[k] = self.told[k] or not bad.all()
            self.missing += int(bad.sum())
            good = np.where(bad, -1, np.arange(x.shape[0]))
            held = np.maximum.accumulate(good)
            first = (
                self._last[k]
                if np.isfinite(self._last[k])
                else (x[~bad][0] if not bad.all() else np.float32(0))
            )
            x = np.where(held >= 0, x[np.maximum(held, 0)], first)
        elif x.shape[0]:
            self.told[k] = True
        if x.shape[0]:
            self._last[k] = x[-1]
        return x


def channels(
    columns: Sequence[Column], blocks: Iterator[Block], dt_s: float | None,
    again: Callable[[], Iterator[Times]] | None = None,
) -> tuple[tuple[Channel, ...], list[str]]:  # fmt: skip
    """Channels from blocks of (instants or None, samples of each column); (channels, what was assumed).

    `dt_s` is the interval where the blocks carry no instants (1 s with a note when nobody knows it).
    `again` gives the instants once more: where that is cheap they are kept only if they are uneven.
    InputError `no-samples` when nothing could be read.
    """
    ruler = Ruler()
    notes: list[str] = []
    filled = Filled(len(columns))
    clock = Spool(1, np.float64)
    with Spool(len(columns)) as spool, clock:
        for times, samples in blocks:
            for k, x in enumerate(samples):
                spool.add(k, filled.column(k, x))
            if times is None:
                continue
            if again is None:
                clock.add(0, times)
            else:
                ruler.add(times)
        if again is not None and ruler.count and ruler.even(UNEVEN) is None:
            for times in again():
                clock.add(0, times)
    data = [np.asarray(m) if m.shape[0] == 0 else m for m in spool.maps()]
    if not data or data[0].shape[0] == 0:
        raise one("no-samples", "the file holds no samples", remedy="is this the right file?")
    if not any(filled.told):
        raise one(
            "no-samples", "no column of the file holds a single number", remedy="is this the right file?"
        )
    silent = [c.name for c, told in zip(columns, filled.told, strict=True) if not told]
    if silent:
        notes.append(f"{', '.join(silent)}: not a number in it, left out")
        filled.missing -= int(data[0].shape[0]) * len(silent)
        data = [d for d, told in zip(data, filled.told, strict=True) if told]
        columns = [c for c, told in zip(columns, filled.told, strict=True) if told]
    if filled.missing:
        notes.append(f"{filled.missing} cells were empty or no number; the sample before was kept there")
    even = ruler.even(UNEVEN) if ruler.count and not clock.written[0] else None
    if even is not None:
        return _named(columns, data, ruler.first, even), notes
    if clock.written[0]:
        return _timed(columns, data, clock.maps()[0].view(), notes)
    if dt_s is None:
        dt_s = 1.0
        notes.append(
            "no time column and no interval found: one second a sample assumed; say it with --interval"
        )
    return _named(columns, data, 0.0, dt_s), notes


def _named(
    columns: Sequence[Column], data: Sequence[NDArray[np.generic]], t0: float, dt: float
) -> tuple[Channel, ...]:
    return tuple(
        Channel(c.name, c.unit, dt, t0, x)  # type: ignore[arg-type]
        for c, x in zip(columns, data, strict=True)
    )


def _interval(t: NDArray[np.generic]) -> float:
    """The usual distance of neighbouring instants, s (median over up to a million of them)."""
    step = np.diff(np.asarray(t[: CHUNK + 1], np.float64))
    ahead = step[step > 0]
    if ahead.shape[0] == 0:
        raise one(
            "time-stands-still",
            "the time column never moves ahead",
            remedy="name the right one with --time COLUMN",
        )
    return float(np.median(ahead))


def _timed(
    columns: Sequence[Column], data: list[NDArray[np.generic]], t: NDArray[np.generic], notes: list[str]
) -> tuple[tuple[Channel, ...], list[str]]:
    n = int(t.shape[0])
    if n == 1:
        return _named(columns, data, float(t[0]), 1.0), [*notes, "a single sample"]
    if float(t[0]) > float(t[-1]) and bool((np.diff(np.asarray(t[: CHUNK + 1], np.float64)) < 0).all()):
        notes.append("time runs backwards in the file: the samples were turned round")
        t, data = t[::-1], [d[::-1] for d in data]
    dt = _interval(t)
    spread = (float(t[-1]) - float(t[0])) / (n - 1)
    if abs(spread - dt) < UNEVEN * dt / n + 1e-3 * dt and _even(t, spread):
        return _named(columns, data, float(t[0]), spread), notes
    return _regrid(columns, data, t, dt, notes)


def _even(t: NDArray[np.generic], dt: float) -> bool:
    """Whether every instant lies at its even place, up to the digits it was written with."""
    t0 = float(t[0])
    for first in range(0, int(t.shape[0]), CHUNK):
        part = np.asarray(t[first : first + CHUNK], np.float64)
        at = t0 + dt * np.arange(first, first + part.shape[0])
        if np.abs(part - at).max() > max(UNEVEN * dt, 4e-16 * abs(t0)) * 2:
            return False
    return True


def _stray(place: int, at: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which instants lie far ahead of the one before while the next one goes on from there: a broken cell.
    Believed, it would leave out all that follows it."""
    before = np.concatenate(([place], at[:-1]))
    after = np.concatenate((at[1:], [np.iinfo(np.int64).max]))
    return (at > before + STRAY) & (after > before) & (after < at)


def _regrid(
    columns: Sequence[Column],
    data: list[NDArray[np.generic]],
    t: NDArray[np.generic],
    dt: float,
    notes: list[str],
) -> tuple[tuple[Channel, ...], list[str]]:
    """Each sample to its place on an even grid; holes keep the sample before, samples from the past are
    left out."""
    t0, place, missing, back = float(t[0]), -1, 0, 0
    last = [np.float32(0)] * len(columns)
    with Spool(len(columns)) as spool:
        for first in range(0, int(t.shape[0]), CHUNK):
            part = np.asarray(t[first : first + CHUNK], np.float64)
            at = np.rint((part - t0) / dt)
            at = np.where(np.isfinite(at), at, -1).astype(np.int64)
            stray = _stray(place, at)
            at[stray] = -1
            high = np.maximum.accumulate(np.concatenate(([place], at)))
            keep = at > high[:-1]
            back += int((~keep).sum())
            at = at[keep]
            if at.shape[0] == 0:
                continue
            repeat = np.diff(np.concatenate(([place], at)))
            if int(repeat.max()) > MOST_GAP:
                raise one(
                    "time-jumps", f"the time column jumps by {repeat.max() * dt:.6g} s at once",
                    remedy="two recordings in one file? cut it there",
                )  # fmt: skip
            missing += int((repeat - 1).sum())
            for k, x in enumerate(data):
                block = np.asarray(x[first : first + CHUNK], np.float32)[keep]
                before = np.concatenate(([last[k]], block[:-1]))
                # a hole keeps the sample before it: each value stands until the next one's place
                held = np.repeat(np.where(repeat > 1, before, block), np.maximum(repeat - 1, 0))
                out = np.empty(int(repeat.sum()), np.float32)
                ends = np.cumsum(repeat) - 1
                mask = np.ones(out.shape[0], bool)
                mask[ends] = False
                out[ends] = block
                out[mask] = held
                spool.add(k, out)
                last[k] = block[-1]
            place = int(at[-1])
    if missing:
        notes.append(f"{missing} samples are missing (uneven time); the sample before was kept there")
    if back:
        second = " (a second recording in one file? cut it there)" if back > int(t.shape[0]) // 10 else ""
        notes.append(f"{back} samples did not move ahead in time and were left out{second}")
    return _named(columns, spool.maps(), t0, dt), notes
