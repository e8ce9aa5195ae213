"""A bare array of samples (.npy): (n,) or (n, channels), mapped, never copied where it is float32 already."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from amptrail.errors import one
from amptrail.recording.channel import Channel, Recording
from amptrail.recording.grid import Column, channels
from amptrail.recording.readers import Asked

CHUNK = 1 << 20


def read(path: Path, asked: Asked) -> Recording:
    """Channels of a bare array; the interval must be told, 1 s with a note otherwise."""
    try:
        data, cut = np.load(path, mmap_mode="r", allow_pickle=False), ""
    except (ValueError, OSError, EOFError) as e:
        part = _cut(path)
        if part is None:
            raise one("broken-npy", f"the array cannot be read: {e}", remedy="write it again") from e
        data, cut = part
    if data.ndim not in (1, 2) or data.size == 0 or data.dtype.kind not in "fiub":
        raise one(
            "no-samples",
            f"an array of shape {data.shape} is no recording",
            expected=("(samples,)", "(samples, channels)"),
            remedy="save one column a channel",
        )
    if data.ndim == 1:
        data = data[:, None]
    mapped = _as_it_is(path, data, asked)
    if mapped is not None and not cut:
        return mapped
    columns = [Column(f"channel {k + 1}", "V") for k in range(data.shape[1])]
    steps = range(0, int(data.shape[0]), CHUNK)
    blocks = ((None, [np.asarray(data[s : s + CHUNK, k]) for k in range(data.shape[1])]) for s in steps)
    got, notes = channels(columns, blocks, asked.interval_s)
    return Recording(path.name, "npy", got, tuple([cut, *notes] if cut else notes))


def _cut(path: Path) -> tuple[np.ndarray, str] | None:
    """What a truncated array still holds, and the words for it; None when not even its head is whole."""
    try:
        with path.open("rb") as f:
            version = np.lib.format.read_magic(f)
            reader = np.lib.format.read_array_header_1_0 if version == (1, 0) else (
                np.lib.format.read_array_header_2_0
            )  # fmt: skip
            shape, by_columns, kind = reader(f)
            begin = f.tell()
    except (ValueError, OSError, EOFError):
        return None
    row = int(np.prod(shape[1:])) * kind.itemsize if shape else 0
    there = (path.stat().st_size - begin) // row if row else 0
    if (by_columns and len(shape) > 1) or kind.hasobject or not 0 < there < shape[0]:
        return None
    data = np.memmap(path, kind, "r", begin, (there, *shape[1:]))
    return data, f"the file ends early: {there} of {shape[0]} samples are there"


def _as_it_is(path: Path, data: np.ndarray, asked: Asked) -> Recording | None:
    """The array itself as channels when it is float32 with a known interval and holds numbers only."""
    if data.dtype != np.float32 or asked.interval_s is None or not data.flags.f_contiguous:
        return None
    found = tuple(
        Channel(f"channel {k + 1}", "V", asked.interval_s, 0.0, data[:, k]) for k in range(data.shape[1])
    )
    if not all(np.isfinite(c.overview.mean).all() for c in found):
        return None
    return Recording(path.name, "npy", found)
