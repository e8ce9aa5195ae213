"""Reading the reference tables: one CSV a table, every row with its source and how it is known.

`status`: seen (read in a public source), memory (recalled, no source opened), computed (worked out here).
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from typing import Literal, cast, get_args

Status = Literal["seen", "memory", "computed"]
TABLES: tuple[str, ...] = (
    "wire_metric", "wire_awg", "fuse", "fuse_gates", "ampacity", "wire_fuse", "drop_limits", "sleep", "relay",
    "cranking", "lamp", "terminals", "rest_volts", "cold_charge", "colours", "can", "dtc", "shares", "priors",
    "traits", "cautions",
)  # fmt: skip


@cache
def rows(table: str) -> tuple[dict[str, str], ...]:
    """The rows of a table as text, in the order of its file."""
    text = (files("amptrail.reference") / f"{table}.csv").read_text(encoding="utf-8")
    return tuple(dict(r) for r in csv.DictReader(text.splitlines()))


def status(text: str) -> Status:
    """The status word of a row; ValueError when a table was written wrong."""
    if text not in get_args(Status):
        raise ValueError(f"unknown status {text!r} in a reference table")
    return cast(Status, text)


def optional(text: str) -> float | None:
    """A number, or None for an empty cell."""
    return float(text) if text else None
