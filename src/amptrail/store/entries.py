"""An entry of the log, and what may be one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from amptrail.errors import InputError, Problem, nearest

KINDS = (
    "intake",
    "sheet",
    "reading",
    "undo",
    "conclusion",
    "feed",
    "repair",
    "note",
    "state",
    "left",
    "time",
    "close",
)
LONGEST_NAME = 200
LONGEST_DATA = 10_000_000  # characters; a sheet of 2,000 parts has some 200,000


class StoreError(InputError):
    """The log cannot do what was asked; the problem says why and what to do."""


def refuse(code: str, message: str, remedy: str = "", **more: Any) -> StoreError:
    """A StoreError with one problem."""
    return StoreError((Problem(code, message, remedy=remedy, **more),))


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: `id` is made by the caller, so that sending it twice adds it once.

    `at` is an ISO 8601 time with its zone; `data` is a JSON object whose keys depend on the kind
    (`amptrail.store.state` reads them; an undo has `entry`, the id it takes back).
    """

    job: str
    id: str
    kind: str
    at: str
    data: Mapping[str, Any] = field(default_factory=dict)

    def same_as(self, other: Entry) -> bool:
        """Equal in all but the time: a retry a moment later is still the same entry."""
        return (self.job, self.id, self.kind, dumped(self.data)) == (
            other.job,
            other.id,
            other.kind,
            dumped(other.data),
        )


def dumped(data: Mapping[str, Any]) -> str:
    """The data as canonical JSON text; StoreError when it is not plain finite JSON."""
    try:
        text = json.dumps(data, sort_keys=True, ensure_ascii=False, allow_nan=False)
        text.encode("utf-8")
        same = json.loads(text) == data
    except (TypeError, ValueError, RecursionError) as e:
        raise refuse("bad-entry", f"the data is not plain JSON: {e}", "send finite numbers and text") from e
    if not same:
        raise refuse("bad-entry", "the data is not plain JSON: it would not come back as sent",
                     "use text as keys, lists in place of tuples")  # fmt: skip
    return text


def _name(what: str, name: str) -> None:
    clean = isinstance(name, str) and name.strip() == name and name.isprintable()
    if not (clean and 0 < len(name) <= LONGEST_NAME):
        raise refuse("bad-entry", f"{name!r} cannot be {what}",
                     f"use 1 to {LONGEST_NAME} printable characters, no blanks at the ends")  # fmt: skip


def _time(at: str) -> None:
    try:
        zone = datetime.fromisoformat(at).tzinfo
    except (ValueError, TypeError):
        zone = None
    if zone is None:
        raise refuse("bad-entry", f"{at!r} is not a time with its zone", "write 2026-11-25T12:00:00+00:00")


def validate(entry: Entry) -> None:
    """Raise StoreError unless the entry may be written."""
    _name("the name of a job", entry.job)
    _name("the id of an entry", entry.id)
    _time(entry.at)
    if entry.kind not in KINDS:
        raise refuse("bad-entry", f"no kind of entry is called {entry.kind!r}", "name one of these",
                     expected=KINDS, nearest=nearest(str(entry.kind), KINDS))  # fmt: skip
    if not isinstance(entry.data, Mapping):
        raise refuse("bad-entry", "the data of an entry is an object", "send {…}")
    if len(dumped(entry.data)) > LONGEST_DATA:
        raise refuse("bad-entry", "the entry is too large", "is this the right file?")
    if entry.kind == "undo" and not isinstance(entry.data.get("entry"), str):
        raise refuse("bad-entry", "an undo names the id it takes back", 'send {"entry": ID}')
