"""Parquet: pyarrow reads row groups; the time column is found as in a table of text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from amptrail.errors import one
from amptrail.recording.channel import Recording
from amptrail.recording.grid import Block, Column, channels
from amptrail.recording.readers import Asked
from amptrail.recording.sniff import IN_BRACKETS, SECONDS, TIME_WORDS, UNITS


def read(path: Path, asked: Asked) -> Recording:
    """Every column of numbers as a channel. InputError `broken-parquet`, `no-channels`."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(path)
    except (pa.ArrowInvalid, OSError) as e:
        raise one("broken-parquet", f"the Parquet file cannot be read: {e}", remedy="write it again") from e
    with file:
        fields = [
            f for f in file.schema_arrow
            if pa.types.is_floating(f.type) or pa.types.is_integer(f.type) or pa.types.is_timestamp(f.type)
        ]  # fmt: skip
        time = _time([f.name for f in fields], asked.time)
        wide = [f for f in fields if f.name != time]
        if not wide:
            raise one(
                "no-channels", "no column of numbers beside the time", remedy="write the channels as numbers"
            )
        split = [_split(f.name) for f in wide]
        factor = [UNITS.get(u.casefold(), (u, 1.0)) for _, u in split]
        names = [Column(n, f[0]) for (n, _), f in zip(split, factor, strict=True)]
        scale = _seconds(file.schema_arrow, time)
        got, notes = channels(
            names,
            _blocks(file, time, scale, [f.name for f in wide], [f[1] for f in factor]),
            asked.interval_s,
        )
    return Recording(path.name, "parquet", got, tuple(notes))


def _split(name: str) -> tuple[str, str]:
    hit = IN_BRACKETS.match(name)
    if hit and (hit[2].casefold() in UNITS or hit[2].casefold() in SECONDS):
        return hit[1], hit[2]
    return name, ""


def _time(names: list[str], said: str | None) -> str | None:
    for n in names:
        bare, unit = _split(n)
        if (said or "").casefold() in (n.casefold(), bare.casefold()):
            return n
        if said is None and (
            bare.casefold() in TIME_WORDS or unit.casefold() in SECONDS or bare.casefold() == "time_s"
        ):
            return n
    return None


def _seconds(schema: Any, time: str | None) -> float:
    import pyarrow as pa

    if time is None:
        return 1.0
    kind = schema.field(time).type
    if pa.types.is_timestamp(kind):
        return SECONDS[kind.unit]
    return SECONDS.get(_split(time)[1].casefold(), 1.0)


def _blocks(
    file: Any, time: str | None, scale: float, names: list[str], factors: list[float]
) -> Iterator[Block]:
    wanted = ([time] if time else []) + names
    for batch in file.iter_batches(columns=wanted, batch_size=1 << 20):
        t = None
        if time is not None:
            t = np.asarray(batch.column(time).to_numpy(zero_copy_only=False)).astype(np.float64) * scale
        yield (
            t,
            [
                np.asarray(batch.column(n).to_numpy(zero_copy_only=False), np.float32) * np.float32(f)
                for n, f in zip(names, factors, strict=True)
            ],
        )
