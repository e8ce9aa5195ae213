"""CSV and its kin, of any scope: the layout is sniffed, pyarrow parses, block by block."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from amptrail.errors import one
from amptrail.recording.channel import Recording
from amptrail.recording.grid import Block, channels
from amptrail.recording.readers import Asked
from amptrail.recording.sniff import CLOCK, NOTHING, Layout, seconds_of, sniff

SEEN = 1 << 17  # bytes looked at to find the layout
BLOCK = 1 << 23  # bytes parsed at a time


def _encoding(head: bytes) -> str:
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as e:
        if e.start < len(head) - 4:  # not merely a letter cut in two at the end of what was looked at
            return "latin-1"
    return "utf8"


def read(path: Path, asked: Asked) -> Recording:
    """A table of numbers as channels. InputError `no-table`, `no-samples`, `time-…` with what to do."""
    with path.open("rb") as f:
        head = f.read(SEEN)
    encoding = _encoding(head)
    text = head.decode("utf-8-sig" if encoding == "utf8" else encoding, errors="ignore")
    lines = text.splitlines()
    complete = len(head) < SEEN or len(lines) < 2
    layout = sniff("\n".join(lines if complete else lines[:-1]), asked.time)
    wide = [k for k in range(layout.width) if k != layout.time and k not in layout.drop]
    if not wide:
        raise one(
            "no-channels", "there is a time column and nothing beside it", remedy="export the channels too"
        )
    bad: list[int] = []
    if layout.delimiter == " ":
        blocks = _by_blanks(path, encoding, layout, wide, bad)
    else:
        blocks = _parsed(path, encoding, layout, wide, bad)
    got, notes = channels([layout.columns[k] for k in wide], blocks, asked.interval_s or layout.interval_s)
    told = [*layout.said, *notes]
    if bad:
        told.append(f"{sum(bad)} lines had another shape and were left out")
    return Recording(path.name, "csv", got, tuple(told))


def _options(encoding: str, layout: Layout, text: bool) -> tuple[Any, Any, Any]:
    import pyarrow as pa
    from pyarrow import csv

    names = [f"c{k}" for k in range(layout.width)]
    kinds = {n: pa.string() if text else pa.float32() for n in names}
    if layout.time is not None:
        kinds[names[layout.time]] = pa.string() if layout.clock or text else pa.float64()
    return (
        csv.ReadOptions(
            skip_rows=layout.skip, column_names=names, encoding=encoding, block_size=BLOCK, use_threads=True
        ),
        csv.ParseOptions(delimiter=layout.delimiter, ignore_empty_lines=True),
        csv.ConvertOptions(
            column_types=kinds, decimal_point="," if layout.comma else ".",
            null_values=list(NOTHING), strings_can_be_null=True,
        ),
    )  # fmt: skip


def _parsed(path: Path, encoding: str, layout: Layout, wide: list[int], bad: list[int]) -> Iterator[Block]:
    """Fast where every cell is a number; else the same file again with cells as text, each turned into a
    number alone."""
    import pyarrow as pa

    done = 0
    try:
        for batch in _batches(path, encoding, layout, False, bad):
            yield _block(layout, wide, [_floats(batch.column(k)) for k in range(layout.width)], batch)
            done += batch.num_rows
        return
    except pa.ArrowInvalid:
        bad.clear()
    seen = 0
    for batch in _batches(path, encoding, layout, True, bad):
        skip = min(max(done - seen, 0), batch.num_rows)  # what the fast way had already given
        seen += batch.num_rows
        if skip == batch.num_rows:
            continue
        rest = batch.slice(skip)
        columns = [_loose(rest.column(k).to_pylist(), layout.comma) for k in range(layout.width)]
        empty = np.all([~np.isfinite(c) for c in columns], axis=0)
        if empty.any():
            bad.append(int(empty.sum()))
        yield _block(layout, wide, [c[~empty] for c in columns], None)


def _batches(path: Path, encoding: str, layout: Layout, text: bool, bad: list[int]) -> Iterator[Any]:
    import pyarrow as pa
    from pyarrow import csv

    how, parse, convert = _options(encoding, layout, text)

    def other(row: Any) -> str:
        bad.append(1)
        return "skip"

    parse.invalid_row_handler = other
    try:
        reader = csv.open_csv(path, how, parse, convert)
    except pa.ArrowInvalid as e:
        if text:
            raise one(
                "no-table", f"the table cannot be parsed: {e}", remedy="export the recording as CSV again"
            ) from e
        raise
    with reader:
        yield from reader


def _floats(column: Any) -> NDArray[np.generic] | None:
    import pyarrow as pa

    if pa.types.is_string(column.type):
        return None
    return np.asarray(column.to_numpy(zero_copy_only=False))


def _block(layout: Layout, wide: list[int], columns: list[Any], batch: Any) -> Block:
    times = None
    if layout.time is not None:
        t = columns[layout.time]
        if t is None:
            t = np.array([_clock(x) for x in batch.column(layout.time).to_pylist()], np.float64)
        times = np.asarray(t, np.float64) * layout.time_scale
        good = np.isfinite(times)
        if not good.all():
            times = times[good]
            columns = [None if c is None else c[good] for c in columns]
    return times, [
        columns[k] if layout.scales[k] == 1.0 else columns[k] * np.float32(layout.scales[k]) for k in wide
    ]


def _clock(text: str | None) -> float:
    return seconds_of(text.strip()) if text and CLOCK.fullmatch(text.strip()) else float("nan")


def _one(text: str | None, comma: bool) -> float:
    if not text:
        return float("nan")
    bare = text.strip().strip('"').strip()
    if CLOCK.fullmatch(bare):
        return seconds_of(bare)
    try:
        return float(bare.replace(",", ".") if comma else bare)
    except ValueError:
        return float("nan")


def _loose(cells: list[str | None], comma: bool) -> NDArray[np.float64]:
    return np.array([_one(c, comma) for c in cells], np.float64)


def _by_blanks(path: Path, encoding: str, layout: Layout, wide: list[int], bad: list[int]) -> Iterator[Block]:
    """Columns set apart by runs of blanks, which the fast parser does not know."""
    rows: list[list[float]] = []
    with path.open(encoding="utf-8-sig" if encoding == "utf8" else encoding, errors="replace") as f:
        for n, line in enumerate(f):
            if n < layout.skip or not line.strip():
                continue
            cells = line.split()
            if len(cells) != layout.width:
                bad.append(1)
                continue
            rows.append([_one(c, layout.comma) for c in cells])
            if len(rows) == 1 << 16:
                yield _block(layout, wide, list(np.array(rows).T), None)
                rows = []
    if rows:
        yield _block(layout, wide, list(np.array(rows).T), None)
