"""Who works in the shop, and what each may enter.

Roles keep colleagues from mistakes; they are no lock: who can open the database can write into it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from amptrail.errors import nearest
from amptrail.store.entries import Entry, refuse

Role = Literal["technician", "office", "read-only", "gone"]
ROLES: tuple[str, ...] = get_args(Role)
# what the office enters: the call, words, minutes, money, papers; what was measured and done is not its word
OFFICE = ("intake", "note", "time", "state", "part", "file", "undo")


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody with a role since a time (ISO 8601)."""

    name: str
    role: Role
    at: str


def may(people: Mapping[str, Person], entry: Entry, target: Entry | None) -> None:
    """StoreError unless the person of an entry may add it. Where nobody is listed everybody may; `target`
    is the entry an undo takes back."""
    if not people:
        return
    if not entry.by:
        raise refuse("who", "people are listed here, so every entry says whose it is",
                     "say who you are: AMPTRAIL_BY=NAME, or --by NAME", expected=tuple(people))  # fmt: skip
    person = people.get(entry.by)
    if person is None or person.role == "gone":
        here = [p.name for p in people.values() if p.role != "gone"]
        raise refuse("who", f"nobody here is called {entry.by}", "a technician lists people: amptrail people",
                     expected=tuple(here), nearest=nearest(entry.by, here))  # fmt: skip
    if person.role == "read-only":
        raise refuse("not-allowed", f"{entry.by} may read and not write", "ask a technician to enter it")
    kind = target.kind if target is not None else entry.kind
    if person.role == "office" and not {entry.kind, kind} <= set(OFFICE):
        raise refuse("not-allowed", f"the office does not enter a {kind}", "ask a technician to enter it",
                     expected=OFFICE)  # fmt: skip
