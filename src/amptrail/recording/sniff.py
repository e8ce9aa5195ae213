"""What a table of a scope looks like: delimiter, decimal sign, header, units, time. Found out from its
first lines.

Nothing is taken from the habits of one make of scope: every choice follows from counting cells that are
numbers.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from amptrail.errors import one
from amptrail.recording.grid import Column

DELIMITERS = (";", "\t", ",", "|", " ")
FEW, ENOUGH = 300, 100  # lines looked at first, and numbers in a run that settle it
NUMBER = re.compile(r"[+-]?(\d+([.]\d*)?|[.]\d+)([eE][+-]?\d+)?")
NUMBER_COMMA = re.compile(r"[+-]?(\d+(,\d*)?|,\d+)([eE][+-]?\d+)?")
NOTHING = (
    "",
    "nan",
    "NaN",
    "NAN",
    "-",
    "--",
    "---",
    "n/a",
    "N/A",
    "null",
    "inf",
    "-inf",
    "Inf",
    "-Inf",
    "OL",
    "∞",
    "-∞",
)
CLOCK = re.compile(r"(\d+:)?\d{1,2}:\d{2}([.,]\d+)?")
IN_BRACKETS = re.compile(r"^(.*?)\s*[\(\[/]\s*([^\)\]/]{1,6})\s*[\)\]]?$")
UNITS = {
    "v": ("V", 1.0),
    "volt": ("V", 1.0),
    "volts": ("V", 1.0),
    "mv": ("V", 1e-3),
    "kv": ("V", 1e3),
    "uv": ("V", 1e-6),
    "a": ("A", 1.0),
    "amp": ("A", 1.0),
    "amps": ("A", 1.0),
    "ampere": ("A", 1.0),
    "ma": ("A", 1e-3),
    "ua": ("A", 1e-6),
    "ohm": ("ohm", 1.0),
    "ω": ("ohm", 1.0),
    "w": ("W", 1.0),
    "hz": ("Hz", 1.0),
    "%": ("%", 1.0),
    "°c": ("°C", 1.0),
    "bar": ("bar", 1.0),
    "fs": ("FS", 1.0),
    "bit": ("", 1.0),
}
SECONDS = {
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "µs": 1e-6,
    "μs": 1e-6,
    "ns": 1e-9,
    "min": 60.0,
    "h": 3600.0,
}
TIME_WORDS = (
    "time",
    "zeit",
    "temps",
    "tiempo",
    "tempo",
    "tid",
    "t",
    "x",
    "x-axis",
    "timestamp",
    "seconds",
    "sec",
)
INDEX_WORDS = ("sample", "samples", "index", "#", "no", "no.", "nr", "n", "point", "number")
INTERVAL = re.compile(
    r"(interval|increment|period|\bdt\b|delta ?t|spacing|xincr\w*)"
    r"[^0-9+.\-]{0,12}([0-9.,]+(?:[eE][+-]?\d+)?)\s*([a-zµμ]*)",
    re.I,
)
RATE = re.compile(
    r"(rate|frequency|\bfs\b|samples? per second)[^0-9+.\-]{0,12}([0-9.,]+(?:[eE][+-]?\d+)?)\s*([a-zA-Z/]*)",
    re.I,
)


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a table: `skip` lines, then rows of `width` cells. `time` is the column of instants
    (None: none), each
    `time_scale` s a unit; `clock` when they are written as hours:minutes:seconds; `interval_s` where the
    header tells it."""

    delimiter: str
    comma: bool  # decimal comma
    skip: int
    width: int
    columns: tuple[Column, ...]  # every column, the time column too
    scales: tuple[float, ...]
    time: int | None
    time_scale: float
    clock: bool
    interval_s: float | None
    drop: tuple[int, ...] = ()  # columns without any value
    said: tuple[str, ...] = field(default=())


def _number(cell: str, comma: bool) -> bool:
    return bool((NUMBER_COMMA if comma else NUMBER).fullmatch(cell))


def cells(line: str, delimiter: str) -> list[str]:
    """The cells of a line, without quotes and blanks around them."""
    if delimiter == " ":
        return line.split()
    return [c.strip().strip('"').strip() for c in line.rstrip("\r\n").split(delimiter)]


def _is_data(row: Sequence[str], comma: bool) -> bool:
    numbers = sum(_number(c, comma) or bool(CLOCK.fullmatch(c)) for c in row)
    return numbers >= 1 and all(_number(c, comma) or c in NOTHING or CLOCK.fullmatch(c) for c in row)


def _run(lines: Sequence[str], delimiter: str, comma: bool) -> tuple[int, int, int]:
    """(numbers in it, first line, width) of the best run of data rows of one width."""
    best = (0, 0, 0)
    first = width = numbers = 0
    for k, line in enumerate([*lines, "end"]):
        row = cells(line, delimiter)
        ok = bool(line.strip()) and _is_data(row, comma)
        if ok and (width == 0 or len(row) == width):
            if width == 0:
                first, width = k, len(row)
            numbers += sum(_number(c, comma) for c in row)
            continue
        if not line.strip() and width:
            continue
        if numbers > best[0]:
            best = (numbers, first, width)
        first, width, numbers = (k, len(row), 1) if ok else (0, 0, 0)
    return best


def _best(lines: Sequence[str]) -> tuple[int, int, int, str, bool]:
    """(numbers in it, first line, width, delimiter, decimal comma) of the best run, whatever divides it."""
    found = []
    for rank, d in enumerate(DELIMITERS):
        for comma in (False, True) if d != "," else (False,):
            numbers, first, width = _run(lines, d, comma)
            found.append((numbers, -rank, not comma, d, comma, first, width))
    numbers, _, _, delimiter, comma, first, width = max(found)
    return numbers, first, width, delimiter, comma


def sniff(text: str, time: str | None = None) -> Layout:
    """The layout of a table from its first lines. `time` names the time column when the person said it.

    InputError `no-table` when no two rows of numbers follow each other.
    """
    lines = text.splitlines()
    numbers, first, width, delimiter, comma = _best(lines[:FEW])
    if numbers < ENOUGH and len(lines) > FEW:
        numbers, first, width, delimiter, comma = _best(lines)
    if numbers < 2:
        raise one(
            "no-table", "no rows of numbers found in this file",
            expected=("rows of numbers, divided by ; , tab | or blanks",),
            remedy="export the recording as CSV with numbers",
        )  # fmt: skip
    rows = [cells(x, delimiter) for x in lines[first : first + 200] if x.strip()]
    rows = [r for r in rows if len(r) == width]
    names, units = _header(lines[:first], delimiter, width)
    at, scale, clock = _time(rows, names, units, comma, time)
    drop = tuple(
        k
        for k in range(width)
        if k != at
        and (names[k].casefold() in INDEX_WORDS or (not names[k] and all(r[k] in NOTHING for r in rows)))
    )
    interval = _interval(lines[:first])
    columns, scales = [], []
    for k in range(width):
        unit, factor = UNITS.get(units[k].casefold(), (units[k], 1.0))
        columns.append(Column(names[k] or f"channel {k + 1 - (at is not None and k > at)}", unit))
        scales.append(factor)
    sign = "comma" if comma else "point"
    said = [f"cells divided by {_aloud(delimiter)}, decimal {sign}, data from line {first + 1}"]
    said.append(
        f"time in column {at + 1}"
        if at is not None
        else f"interval {interval} s"
        if interval
        else "no time column"
    )
    return Layout(
        delimiter,
        comma,
        first,
        width,
        tuple(columns),
        tuple(scales),
        at,
        scale,
        clock,
        interval,
        drop,
        tuple(said),
    )


def _aloud(delimiter: str) -> str:
    return {"\t": "tabs", " ": "blanks", ",": "commas", ";": "semicolons"}.get(delimiter, delimiter)


def _looks_unit(cell: str) -> bool:
    bare = cell.strip("()[] ").casefold()
    return bare in UNITS or bare in SECONDS


def _header(lines: Sequence[str], delimiter: str, width: int) -> tuple[list[str], list[str]]:
    """(names, units) from the lines above the data; empty strings where they say nothing."""
    rows = [cells(x, delimiter) for x in lines if x.strip()]
    rows = [
        (r + [""] * width)[:width]
        for r in rows
        if width - 1 <= len(r) <= width or (width == 1 and len(r) == 1)
    ]
    units = [""] * width
    if rows and sum(_looks_unit(c) for c in rows[-1]) * 2 >= sum(bool(c) for c in rows[-1]) > 0:
        units = [c.strip("()[] ") for c in rows.pop()]
    names = list(rows[-1]) if rows else [""] * width
    for k, name in enumerate(names):
        hit = IN_BRACKETS.match(name)
        if hit and _looks_unit(hit[2]):
            names[k], units[k] = hit[1], units[k] or hit[2].strip()
    return names, units


def _value(cell: str, comma: bool) -> float | None:
    if CLOCK.fullmatch(cell):
        return seconds_of(cell)
    return float(cell.replace(",", ".")) if _number(cell, comma) else None


def seconds_of(clock: str) -> float:
    """Seconds of `1:02:03.5`, `02:03,5`."""
    total = 0.0
    for bit in clock.replace(",", ".").split(":"):
        total = total * 60 + float(bit)
    return total


def _time(
    rows: Sequence[Sequence[str]], names: Sequence[str], units: Sequence[str], comma: bool, said: str | None
) -> tuple[int | None, float, bool]:
    """(column of instants, seconds a unit of it, written as a clock)."""
    width = len(names)
    for k in range(width):
        if said is not None and said.casefold() in (names[k].casefold(), str(k + 1)):
            return k, SECONDS.get(units[k].casefold(), 1.0), bool(CLOCK.fullmatch(rows[0][k]))
    if said is not None:
        raise one("no-such-column", f"no column {said}", expected=tuple(n for n in names if n),
                  remedy="name the time column as the header does, or by its number")  # fmt: skip
    for k in range(width):
        if CLOCK.fullmatch(rows[0][k]):
            return k, 1.0, True
        named = names[k].casefold() in TIME_WORDS or names[k].casefold().startswith(("time", "zeit"))
        if named or units[k].casefold() in SECONDS:
            return k, SECONDS.get(units[k].casefold(), 1.0), False
    if width > 1 and not names[0]:
        t = [_value(r[0], comma) for r in rows]
        steps = [b - a for a, b in itertools.pairwise(t) if a is not None and b is not None]
        if len(steps) > 1 and min(steps) > 0 and max(steps) < 1.5 * min(steps):
            return 0, 1.0, False
    return None, 1.0, False


def _interval(lines: Sequence[str]) -> float | None:
    """The sample interval in s when a line above the data tells it or the rate."""
    for line in lines:
        hit = INTERVAL.search(line)
        if hit and (value := _loose(hit[2])):
            return value * SECONDS.get(hit[3].casefold(), 1.0)
        hit = RATE.search(line)
        if hit and (value := _loose(hit[2])):
            unit = hit[3].casefold()
            scale = 1e6 if unit.startswith(("mhz", "ms/s", "msa")) else 1e3 if unit.startswith("k") else 1.0
            return 1.0 / (value * scale)
    return None


def _loose(text: str) -> float | None:
    try:
        value = float(text.replace(",", ".").rstrip("."))
    except ValueError:
        return None
    return value if value > 0 else None
