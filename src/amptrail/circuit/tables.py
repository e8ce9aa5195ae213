"""One attribute table per part kind (parts/*.csv): name, sheet word, unit, default, range, tolerance, source.

Parser, checks, form hints and the reference page all read these tables; nothing else states a default.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from amptrail.circuit.model import Part, PartKind, Value

KINDS: tuple[PartKind, ...] = (
    "battery", "alternator", "wire", "fuse", "link", "polyfuse", "joint", "connector", "box", "splice",
    "ground", "switch", "relay", "resistor", "lamp", "led", "diode", "motor", "starter", "solenoid",
    "heater", "ptc", "pot", "sensor", "load", "module",
)  # fmt: skip


# (kind, attribute) -> (another attribute, times): a polymer fuse trips at twice what it holds (common
# practice)
FOLLOWS = {("polyfuse", "trip_a"): ("hold_a", 2.0)}


@dataclass(frozen=True, slots=True)
class Attribute:
    """One row of a part table. `low`/`high` bound a stated value; `tolerance` is one relative sigma."""

    name: str
    word: str
    unit: str
    default: Value | None
    low: float | None
    high: float | None
    tolerance: float
    description: str
    source: str


def _default(unit: str, text: str) -> Value | None:
    if not text:
        return None
    if unit == "phases":
        return (text,)
    if unit == "text" or unit.startswith("choice:"):
        return text
    return float(text)


@cache
def table(kind: PartKind) -> tuple[Attribute, ...]:
    """The attribute table of a part kind, in the order of its file."""
    text = (files("amptrail.circuit") / "parts" / f"{kind}.csv").read_text(encoding="utf-8")
    return tuple(
        Attribute(
            r["attribute"],
            r["word"],
            r["unit"],
            _default(r["unit"], r["default"]),
            float(r["low"]) if r["low"] else None,
            float(r["high"]) if r["high"] else None,
            float(r["tolerance"]) if r["tolerance"] else 0.0,
            r["description"],
            r["source"],
        )
        for r in csv.DictReader(text.splitlines())
    )


def attribute(kind: PartKind, name: str) -> Attribute:
    """The row of `name`; KeyError when the kind has no such attribute."""
    for row in table(kind):
        if row.name == name:
            return row
    raise KeyError(f"{kind} has no attribute {name}")


def value(part: Part, name: str) -> Value | None:
    """What the sheet says of the attribute, else what follows from another that it says, else the table's
    default, else None."""
    said = part.said(name)
    if said is not None:
        return said
    other, times = FOLLOWS.get((part.kind, name), ("", 0.0))
    known = part.said(other)
    return times * known if isinstance(known, (int, float)) else attribute(part.kind, name).default


def number(part: Part, name: str) -> float:
    """`value` as a float; KeyError when neither sheet nor table gives a number."""
    got = value(part, name)
    if not isinstance(got, (int, float)):
        raise KeyError(f"{part.kind} {part.name} has no number for {name}")
    return float(got)


def confirmed(part: Part, name: str) -> bool:
    """True when the sheet itself states the attribute (a default nobody confirmed is False)."""
    return part.said(name) is not None
