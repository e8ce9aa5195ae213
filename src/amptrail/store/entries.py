"""What a job's log holds, and the state that follows from it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, get_args

Kind = Literal["intake", "sheet", "reading", "undo", "conclusion", "feed", "repair", "note"]
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True)
class Entry:
    """One entry. `id` is made by whoever adds it: adding it twice adds it once. `number` is the log's order
    in the whole store, `at` ISO 8601 UTC, for people only: order never depends on clocks."""

    id: str
    job: str
    kind: Kind
    data: dict[str, Any]
    at: str
    number: int = 0


@dataclass(frozen=True)
class Case:
    """A job as it stands: the entries in force, oldest first (what was undone is left out)."""

    name: str
    complaint: str
    sheet: str
    readings: tuple[Entry, ...]
    conclusions: tuple[str, ...]
    done: tuple[str, ...]
    notes: tuple[str, ...]
    undone: tuple[str, ...]

    def texts(self) -> tuple[str, str]:
        """(sheet text, readings text), as the use cases take them."""
        return self.sheet, "\n".join(str(e.data["line"]) for e in self.readings) + "\n"


def rebuild(job: str, entries: Iterable[Entry]) -> Case:
    """Replay a job's entries. An undo names the id it takes back; undoing an undo brings it back."""
    ordered = sorted(entries, key=lambda e: e.number)
    dead: set[str] = set()
    for e in reversed(ordered):
        if e.kind == "undo" and e.id not in dead:
            dead.add(str(e.data["id"]))
    live = [e for e in ordered if e.id not in dead and e.kind != "undo"]

    def texts(kind: str) -> tuple[str, ...]:
        return tuple(str(e.data.get("text", "")) for e in live if e.kind == kind)

    sheets = texts("sheet")
    intake = texts("intake")
    return Case(
        job,
        intake[-1] if intake else "",
        sheets[-1] if sheets else "",
        tuple(e for e in live if e.kind == "reading"),
        texts("conclusion"),
        (*texts("repair"), *texts("feed")),
        texts("note"),
        tuple(e.id for e in ordered if e.id in dead),
    )
