"""A job's state is nothing but its log, replayed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from amptrail.sheet.readers import OWN_LINE, signed
from amptrail.store.entries import Entry


@dataclass(frozen=True, slots=True)
class JobState:
    """What a job says now. Texts are as entered; each list keeps the order of the log.

    `readings` are (entry id, readings-file line); the others are the data of their entries.
    """

    complaint: str | None = None
    sheet: str | None = None
    readings: tuple[tuple[str, str], ...] = ()
    readers: tuple[str, ...] = ()  # who entered each of them
    conclusion: str | None = None
    cause: str | None = None
    feeds: tuple[dict[str, Any], ...] = ()
    repairs: tuple[dict[str, Any], ...] = ()
    notes: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    times: tuple[dict[str, Any], ...] = ()  # each `what` and `minutes`, as corrected by hand
    files: tuple[dict[str, Any], ...] = ()  # each `sha256`, `size`, `media`, `name`, `text`, and its `id`
    parts: tuple[dict[str, Any], ...] = ()  # each `text`, `count`, `price`
    recordings: tuple[dict[str, Any], ...] = ()  # what each shows; told again, the later word stands
    closed: bool = False
    facts: dict[str, Any] = field(
        default_factory=dict
    )  # where the vehicle stands: phase, place, open covers …

    @property
    def readings_text(self) -> str:
        """The readings as a readings file; where somebody has instruments of their own, each line says whose
        it is: those of one are not in the hands of another."""
        lines = [line for _, line in self.readings]
        if self.readers and any(by and OWN_LINE.match(x) for x, by in zip(lines, self.readers, strict=True)):
            lines = [signed(x, by) for x, by in zip(lines, self.readers, strict=True)]
        return "".join(f"{line}\n" for line in lines)


def undone(entries: Sequence[Entry]) -> frozenset[str]:
    """Ids taken back. An undo that is itself taken back no longer takes back."""
    gone: set[str] = set()
    for e in reversed(entries):  # an undo only reaches back, so the latest word is known first
        if e.kind == "undo" and e.id not in gone:
            gone.add(str(e.data["entry"]))
    return frozenset(gone)


def alive(entries: Sequence[Entry]) -> list[Entry]:
    """Entries that count, in order: no undos, and nothing taken back."""
    gone = undone(entries)
    return [e for e in entries if e.kind != "undo" and e.id not in gone]


def _step(s: JobState, e: Entry) -> JobState:
    d = dict(e.data)
    text = str(d.get("text", ""))
    match e.kind:
        case "intake":
            return replace(s, complaint=text)
        case "sheet":
            return replace(s, sheet=text)
        case "reading":
            return replace(s, readings=(*s.readings, (e.id, text)), readers=(*s.readers, e.by))
        case "conclusion":
            return replace(s, conclusion=text or s.conclusion, cause=d.get("cause") or s.cause, closed=False)
        case "feed" if d.get("removed"):
            out = tuple({**f, "fitted": False} if f.get("name") == d.get("name") else f for f in s.feeds)
            return replace(s, feeds=out)
        case "feed":
            return replace(s, feeds=(*s.feeds, d))
        case "repair":
            return replace(s, repairs=(*s.repairs, d))
        case "note":
            return replace(s, notes=(*s.notes, text))
        case "left":
            return replace(s, left=(*s.left, text))
        case "time":
            return replace(s, times=(*s.times, d))
        case "file":
            return replace(s, files=(*s.files, {**d, "id": e.id}))
        case "part":
            return replace(s, parts=(*s.parts, d))
        case "recording":
            others = tuple(r for r in s.recordings if r.get("recording") != d.get("recording"))
            return replace(s, recordings=others if d.get("left_out") else (*others, d))
        case "close":
            return replace(s, closed=True)
        case _:
            return replace(s, facts={**s.facts, **d})


def rebuild(entries: Sequence[Entry]) -> JobState:
    """The state after all entries that count, in order."""
    s = JobState()
    for e in alive(entries):
        s = _step(s, e)
    return s
