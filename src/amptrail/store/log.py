"""What a log promises, and the log that lives in memory. One test suite holds for every kind."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from typing import Self

from amptrail.errors import nearest
from amptrail.store.entries import Entry, refuse, validate

Choose = Callable[[Sequence[Entry]], list[Entry]]


def fresh(stored: Sequence[Entry], wanted: Sequence[Entry]) -> list[Entry]:
    """Those of `wanted` that are not stored yet, in order; StoreError when an id has other content."""
    known = {e.id: e for e in stored}
    new: list[Entry] = []
    for e in wanted:
        if e.id in known:
            if not known[e.id].same_as(e):
                raise refuse("entry-differs", f"job {e.job} has an entry {e.id} with other content",
                             "give the new entry an id of its own; nothing is ever overwritten")  # fmt: skip
            continue
        if e.kind == "undo" and e.data["entry"] not in known:
            target = str(e.data["entry"])
            raise refuse("no-such-entry", f"job {e.job} has no entry {target} to take back",
                         "list the entries first", nearest=nearest(target, list(known)))  # fmt: skip
        known[e.id] = e
        new.append(e)
    return new


class Log(ABC):
    """Append-only logs of jobs. When `add` returns, the entry is kept."""

    @abstractmethod
    def jobs(self) -> list[str]:
        """Names of the jobs, in order of their first entry."""

    @abstractmethod
    def entries(self, job: str) -> list[Entry]:
        """All entries of a job in the order they were added, undone ones too; [] for an unknown job."""

    @abstractmethod
    def _append(self, job: str, choose: Choose) -> list[Entry]:
        """Add what `choose` picks, given the stored entries: all or nothing, alone, durable on return."""

    def add_all(self, entries: Sequence[Entry]) -> list[Entry]:
        """Add entries of one job, all or none; returns those that were new."""
        for e in entries:
            validate(e)
        if len({e.job for e in entries}) > 1:
            raise refuse("bad-entry", "entries added together belong to one job", "add them job by job")
        return self._append(entries[0].job, lambda stored: fresh(stored, entries)) if entries else []

    def add(self, entry: Entry) -> bool:
        """Add one entry; False when it was there already. Once this returns, the entry is kept."""
        return bool(self.add_all([entry]))

    def close(self) -> None:
        """Give back what the log holds open."""
        return

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class MemoryLog(Log):
    """A log without a disk, for tests and tries."""

    def __init__(self) -> None:
        self._jobs: dict[str, list[Entry]] = {}

    def jobs(self) -> list[str]:
        return list(self._jobs)

    def entries(self, job: str) -> list[Entry]:
        return list(self._jobs.get(job, ()))

    def _append(self, job: str, choose: Choose) -> list[Entry]:
        new = choose(self.entries(job))
        if new:
            self._jobs.setdefault(job, []).extend(new)
        return new
