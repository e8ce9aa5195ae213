"""MDF4 (ASAM), through the `asammdf` library, an extra of this program: pip install amptrail[mdf]."""

from __future__ import annotations

import gc
import sys
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from amptrail.errors import one
from amptrail.recording.channel import Channel, Recording
from amptrail.recording.grid import Block, Column, channels
from amptrail.recording.readers import Asked, mdfblocks
from amptrail.recording.sniff import UNITS

CHUNK = 1 << 20


def read(path: Path, asked: Asked) -> Recording:
    """Every channel of numbers, each on its own even grid. InputError `broken-mdf`, `needs-extra`."""
    try:
        from asammdf import MDF
    except ImportError as e:
        raise one(
            "needs-extra",
            "MDF files need one more library",
            remedy="pip install 'amptrail[mdf]', then try again",
        ) from e
    file, said = _opened(MDF, path)
    if file is None:
        raise one("broken-mdf", "the MDF file cannot be read: it is cut off or damaged",
                  remedy=f"copy it again (the reader says: {said})")  # fmt: skip
    found: list[Channel] = []
    notes: list[str] = []
    with file:
        for g, group in enumerate(file.groups):
            whole = _at_once(file, path, g, group, asked, notes)
            if whole is not None:
                found += whole
                continue
            masters = set(file.masters_db.values()) if hasattr(file, "masters_db") else set()
            for c, channel in enumerate(group.channels):
                if file.masters_db.get(g) == c or (masters and channel.name in ("time", "t") and c == 0):
                    continue
                got = _channel(file, g, c, channel.name, asked, notes)
                if got is not None:
                    found.append(got)
    if not found:
        raise one("no-channels", "the MDF file holds no channel of numbers", remedy="export other channels")
    return Recording(path.name, "mdf", tuple(found), tuple(notes))


def _opened(library: Any, path: Path) -> tuple[Any, str]:
    """(the file, "") or (None, what the library says). It lets go of a file it could not open with an error
    of its own, which would be printed: it is heard here, and nothing else is."""
    heard = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        try:
            return library(path), ""
        except Exception as e:
            said = str(e)
        gc.collect()  # the half-made object goes now
        return None, said
    finally:
        sys.unraisablehook = heard


def _at_once(
    file: Any, path: Path, g: int, group: Any, asked: Asked, notes: list[str]
) -> tuple[Channel, ...] | None:
    """All channels of a group in one pass over the file; None when it is not laid out plainly."""
    master = file.masters_db.get(g)
    others = [(k, c) for k, c in enumerate(group.channels) if k != master]
    if master is None or not others or not mdfblocks.is_plain(group):
        return None
    time = mdfblocks.field(group.channels[master])
    fields = [mdfblocks.field(c) for _, c in others]
    wanted = [f for f in fields if f is not None]
    if time is None or len(wanted) != len(others) or int(group.channel_group.cycles_nr) < 2:
        return None
    units = [UNITS.get((c.unit or "").casefold(), (c.unit or "", 1.0)) for _, c in others]
    scaled = [
        replace(f, factor=f.factor * by, plus=f.plus * by) for f, (_, by) in zip(wanted, units, strict=True)
    ]
    names = [Column(c.name, unit) for (_, c), (unit, _) in zip(others, units, strict=True)]
    try:
        got, said = channels(
            names, mdfblocks.columns(path, group, time, scaled), asked.interval_s,
            lambda: (t for t, _ in mdfblocks.columns(path, group, time, ())),
        )  # fmt: skip
    except (zlib.error, ValueError):
        return None  # the library says what is wrong with it
    notes += said
    there = got[0].samples
    if there < int(group.channel_group.cycles_nr):
        notes.append(f"the file ends early: {there} of {group.channel_group.cycles_nr} samples are there")
    return got


def _channel(file: Any, group: int, index: int, name: str, asked: Asked, notes: list[str]) -> Channel | None:
    probe = file.get(name, group=group, index=index, record_offset=0, record_count=1)
    if probe.samples.ndim != 1 or not np.issubdtype(probe.samples.dtype, np.number):
        notes.append(f"{name} is not a row of numbers and was left out")
        return None
    unit, factor = UNITS.get((probe.unit or "").casefold(), (probe.unit or "", 1.0))
    got, said = channels([Column(name, unit)], _blocks(file, group, index, name, factor), asked.interval_s)
    notes += [f"{name}: {s}" for s in said]
    return got[0]


def _blocks(file: Any, group: int, index: int, name: str, factor: float) -> Iterator[Block]:
    first = 0
    while True:
        part = file.get(name, group=group, index=index, record_offset=first, record_count=CHUNK)
        n = int(part.samples.shape[0])
        if n == 0:
            return
        yield (
            np.asarray(part.timestamps, np.float64),
            [np.asarray(part.samples, np.float32) * np.float32(factor)],
        )
        first += n
        if n < CHUNK:
            return
