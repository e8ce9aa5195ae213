"""A feed that shows what a rule means: one it refuses, or one that keeps it."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.feed.marks import Purpose


@dataclass(frozen=True, slots=True)
class Example:
    """`sheet`: a file of the folder feeds. `feed`: its words (docs/sheet.md) or the name of a feed in the
    sheet. `against`: the fault it is to bridge. Plain text: who judges it reads the file."""

    sheet: str
    feed: str
    against: str
    purpose: Purpose = "leave"
