"""What every use case of `job` starts from: the log, a job rebuilt from it, and one call as it was made."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from amptrail.errors import InputError, nearest, one, typed
from amptrail.store import Entry, JobState, Log, rebuild

if TYPE_CHECKING:
    from amptrail.store.sql import SqlLog

ReadFile = Callable[[str], str]


class Disk(Protocol):
    """The files a call may touch; a batch request brings its own and writes none."""

    def text(self, name: str, most_bytes: int = ...) -> str:
        """The text of a file."""

    def on_disk(self, name: str) -> Path:
        """Where a file is, for what is no text."""

    def place(self, name: str) -> Path | None:
        """Where a file may be written; None where none may be."""


# set while a request is answered that comes from somebody who has no business with this user's jobs
SEALED: ContextVar[bool] = ContextVar("SEALED", default=False)


@contextmanager
def opened() -> Iterator[SqlLog]:
    """The user's log. InputError `sealed` while it is closed to who asks."""
    if SEALED.get():
        raise one("sealed", "these requests have no jobs", remedy="bring sheet and readings under `files`")
    from amptrail.store.sql import open_log  # the database is imported only when a job is used

    with open_log() as log:
        yield log


@dataclass(frozen=True, slots=True)
class Case:
    """A job as the other use cases need it."""

    name: str
    state: JobState
    entries: tuple[Entry, ...] = ()

    def texts(self) -> tuple[str, str]:
        """Sheet and readings text; InputError when the job has no sheet yet."""
        if self.state.sheet is None:
            raise one(
                "no-sheet", f"job {self.name} has no sheet yet",
                remedy=f"amptrail job sheet {typed(self.name)} SHEET",
            )  # fmt: skip
        return self.state.sheet, self.state.readings_text


def unknown(name: str, names: Sequence[str] = ()) -> InputError:
    """The error of a job nobody knows."""
    return one("no-such-job", f"no file and no job is called {name}", expected=tuple(names[-20:]),
               nearest=nearest(name, names), remedy="list the jobs: amptrail job list")  # fmt: skip


def known(log: Log, name: str) -> list[Entry]:
    """The entries of a job; InputError when there is none of that name."""
    found = log.entries(name)
    if not found:
        raise unknown(name, log.jobs())
    return found


def known_case(name: str) -> Case | None:
    """The job of that name, or None; makes no log where there is none."""
    from amptrail.store.where import exists, named

    if SEALED.get() or not exists(named()):  # looking for a job makes no log
        return None
    with opened() as log:
        found = log.entries(name)
    return Case(name, rebuild(found), tuple(found)) if found else None


def case(name: str) -> Case:
    """The job of that name, rebuilt from its log; InputError when there is none."""
    found = known_case(name)
    if found is not None:
        return found
    from amptrail.store.where import exists, named

    if not exists(named()):
        raise unknown(name)
    with opened() as log:
        raise unknown(name, log.jobs())


# who is at the device a request came from; a thread started for the request has it too
ENTERING: ContextVar[str] = ContextVar("ENTERING", default="")


def whose(said: str | None = None) -> str:
    """Who enters: as said, else the person at the device that asks, else AMPTRAIL_BY, else nobody in
    particular."""
    return (said or ENTERING.get() or os.environ.get("AMPTRAIL_BY", "")).strip()


@dataclass(frozen=True, slots=True)
class Ask:
    """What one call of `job` wants."""

    log: SqlLog
    name: str
    text: Sequence[str]
    read: ReadFile
    entry_id: str | None
    complaint: str | None
    more: Mapping[str, Any]
    by: str = ""
    disk: Disk | None = None

    @property
    def words(self) -> str:
        """The words of the call, as one text."""
        return " ".join(self.text).strip()

    def files(self) -> Disk:
        """The disk; InputError where there is none, as on the pages."""
        if self.disk is None:
            raise one("no-disk", "files are not read or written here", remedy="use the command line")
        return self.disk

    def entry(self, kind: str, data: Mapping[str, Any], entry_id: str | None = None, job: str = "") -> Entry:
        """A new entry of this call; what is None is not kept."""
        kept = {k: v for k, v in data.items() if v is not None}
        made = entry_id or self.entry_id or uuid.uuid4().hex[:12]
        return Entry(job or self.name, made, kind, now().isoformat(), kept, self.by)

    def added(self, entry: Entry) -> list[str]:
        """Add an entry; the ids that are new."""
        return [entry.id] if self.log.add(entry) else []


def now() -> datetime:
    """The clock of this machine."""
    return datetime.now(UTC)
