"""Cautions at the point of use: where hands or the vehicle can be hurt."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Literal, cast, get_args

from amptrail.reference.rows import Status, rows, status

Level = Literal["never", "meter-only", "check", "note"]


@dataclass(frozen=True, slots=True)
class Caution:
    """`applies_to` is a tag such as `class:restraint`, `part:battery`, `phase:cranking`, `trait:hot`, `bus`,
    `reference`, `feed`, `instrument:feeding`, `reach:pierce`. `level` never: do not even try."""

    topic: str
    applies_to: str
    level: Level
    text: str
    status: Status
    source: str


@cache
def all_cautions() -> tuple[Caution, ...]:
    """Every caution, in the order of the table."""
    found = []
    for r in rows("cautions"):
        if r["level"] not in get_args(Level):
            raise ValueError(f"cautions.csv: {r['level']}")
        level = cast(Level, r["level"])
        found.append(Caution(r["topic"], r["applies_to"], level, r["text"], status(r["status"]), r["source"]))
    return tuple(found)


def cautions(tags: Iterable[str]) -> tuple[Caution, ...]:
    """The cautions of these tags, gravest first, each once; an unknown tag has none."""
    wanted = set(tags)
    order = get_args(Level)
    hit = [c for c in all_cautions() if c.applies_to in wanted]
    return tuple(sorted(hit, key=lambda c: order.index(c.level)))
