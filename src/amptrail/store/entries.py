"""An entry of the log, and what may be one."""

from __future__ import annotations

import json
import re
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
    "recording",
    "close",
    "file",
    "part",
)
LONGEST_NAME = 200
LONGEST_PERSON = 60
HASH = re.compile(r"[0-9a-f]{64}")
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
    (`amptrail.store.state` reads them; an undo has `entry`, the id it takes back; a file has `sha256`).
    `by` is who entered it, empty where nobody said.
    """

    job: str
    id: str
    kind: str
    at: str
    data: Mapping[str, Any] = field(default_factory=dict)
    by: str = ""

    def same_as(self, other: Entry) -> bool:
        """Equal in all but the time and the person: a retry a moment later is still the same entry."""
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


def proper(what: str, name: str, longest: int = LONGEST_NAME) -> str:
    """The name, when it can be one; StoreError otherwise."""
    clean = isinstance(name, str) and name.strip() == name and name.isprintable()
    if not (clean and 0 < len(name) <= longest):
        raise refuse("bad-entry", f"{str(name)[:longest]!r} cannot be {what}",
                     f"use 1 to {longest} printable characters, no blanks at the ends")  # fmt: skip
    return name


def _time(at: str) -> None:
    try:
        zone = datetime.fromisoformat(at).tzinfo
    except (ValueError, TypeError):
        zone = None
    if zone is None:
        raise refuse("bad-entry", f"{at!r} is not a time with its zone", "write 2026-11-25T12:00:00+00:00")


def validate(entry: Entry) -> None:
    """Raise StoreError unless the entry may be written."""
    proper("the name of a job", entry.job)
    proper("the id of an entry", entry.id)
    if entry.by:
        proper("the name of a person", entry.by, LONGEST_PERSON)
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
    if entry.kind == "file" and not HASH.fullmatch(str(entry.data.get("sha256"))):
        raise refuse("bad-entry", "a file is named by the SHA-256 of its content", 'send {"sha256": HEX, …}')
