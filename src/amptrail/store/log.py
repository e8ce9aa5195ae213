"""Append-only logs with one interface: SQLite on disk, and a twin in memory for tests and batch.

SQLite in WAL with synchronous FULL: an entry that was acknowledged is on the disk (SQLite documentation,
"PRAGMA synchronous"). Nothing is ever updated or deleted; triggers refuse it.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from amptrail.errors import InputError, one
from amptrail.store.entries import KINDS, Entry

VERSION = 1
MIGRATIONS = {
    1: """
    CREATE TABLE job (name TEXT PRIMARY KEY CHECK (length(name) BETWEEN 1 AND 200)) STRICT;
    CREATE TABLE entry (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        id TEXT NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 200),
        job TEXT NOT NULL REFERENCES job (name),
        kind TEXT NOT NULL,
        data TEXT NOT NULL,
        at TEXT NOT NULL
    ) STRICT;
    CREATE INDEX entry_job ON entry (job, number);
    CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'the log is append-only'); END;
    CREATE TRIGGER entry_kept BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'the log is append-only'); END;
    """,
}


class Log(Protocol):
    """What the use cases need of a log."""

    def append(self, entry: Entry) -> Entry:
        """Add an entry and return it with its number; adding it again changes nothing. InputError when the
        id is taken by a different entry, or an undo names nothing."""

    def entries(self, job: str) -> tuple[Entry, ...]:
        """A job's entries in order."""

    def jobs(self) -> tuple[str, ...]:
        """Names of all jobs."""


def now() -> str:
    """The time in UTC, ISO 8601 to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def default_path() -> Path:
    """Where jobs live: AMPTRAIL_HOME, else the user's data folder."""
    home = os.environ.get("AMPTRAIL_HOME")
    if home:
        return Path(home) / "jobs.sqlite3"
    base = os.environ.get("XDG_DATA_HOME")
    return (Path(base) if base else Path.home() / ".local" / "share") / "amptrail" / "jobs.sqlite3"


def _checked(entry: Entry) -> str:
    if entry.kind not in KINDS:
        raise one("entry-kind", f"no entry is of kind {entry.kind}", expected=KINDS)
    if not entry.id or not entry.job:
        raise one("entry-id", "an entry needs an id and a job")
    try:
        return json.dumps(entry.data, sort_keys=True, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as e:
        raise one("entry-data", f"the entry cannot be kept: {e}") from e


def _same(old: Entry, new: Entry) -> Entry:
    if (old.job, old.kind, old.data) != (new.job, new.kind, new.data):
        raise one("id-taken", f"entry {new.id} exists with another content", remedy="use a new id")
    return old


def _undoable(entry: Entry, known: tuple[Entry, ...]) -> None:
    if entry.kind == "undo" and entry.data.get("id") not in {e.id for e in known}:
        raise one("nothing-to-undo", f"job {entry.job} has no entry {entry.data.get('id')}",
                  remedy="see: amptrail job show JOB")  # fmt: skip


class MemoryLog:
    """The twin in memory."""

    def __init__(self) -> None:
        self._rows: list[Entry] = []

    def append(self, entry: Entry) -> Entry:
        """See Log."""
        data = json.loads(_checked(entry))
        for old in self._rows:
            if old.id == entry.id:
                return _same(old, entry)
        _undoable(entry, self.entries(entry.job))
        kept = Entry(entry.id, entry.job, entry.kind, data, entry.at or now(), len(self._rows) + 1)
        self._rows.append(kept)
        return kept

    def entries(self, job: str) -> tuple[Entry, ...]:
        """See Log."""
        return tuple(e for e in self._rows if e.job == job)

    def jobs(self) -> tuple[str, ...]:
        """See Log."""
        return tuple(sorted({e.job for e in self._rows}))


class SqliteLog:
    """The log on disk. Every append is one transaction, on the disk before it returns."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._told():
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, timeout=10.0, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute("PRAGMA foreign_keys = ON")
            self._migrate()

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what the disk says into what a person can act on."""
        try:
            yield
        except sqlite3.DatabaseError as e:
            said = str(e)
            remedy = {
                "database is locked": "another program holds it: close that, then try again; nothing was lost",
                "attempt to write a readonly database": "the folder or file is read-only: change that or set AMPTRAIL_HOME",
                "database or disk is full": "the disk is full: make room, then try again; nothing was lost",
                "file is not a database": "this is not a job store: move it away or set AMPTRAIL_HOME",
                "unable to open database file": "the folder cannot be used: check its rights or set AMPTRAIL_HOME",
            }
            raise one("store", f"{self.path}: {said}", remedy=remedy.get(said, "keep the file and report it")) from e
        except OSError as e:
            raise one("store", f"{self.path}: {e.strerror}", remedy="check the folder's rights or set AMPTRAIL_HOME") from e

    def _migrate(self) -> None:
        (have,) = self._db.execute("PRAGMA user_version").fetchone()
        if have > VERSION:
            raise one("store-version", f"{self.path} was written by a newer amptrail (version {have})",
                      remedy="update amptrail; the file was not touched")  # fmt: skip
        for version in range(have + 1, VERSION + 1):
            self._db.executescript(f"BEGIN IMMEDIATE; {MIGRATIONS[version]} PRAGMA user_version = {version}; COMMIT;")

    def append(self, entry: Entry) -> Entry:
        """See Log."""
        data = _checked(entry)
        with self._told():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                kept = self._append(entry, data)
                self._db.execute("COMMIT")
            except (InputError, sqlite3.Error):
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise
        return kept

    def _append(self, entry: Entry, data: str) -> Entry:
        row = self._db.execute("SELECT number, id, job, kind, data, at FROM entry WHERE id = ?", (entry.id,)).fetchone()
        if row is not None:
            return _same(_entry(row), entry)
        _undoable(entry, self.entries(entry.job))
        at = entry.at or now()
        self._db.execute("INSERT OR IGNORE INTO job (name) VALUES (?)", (entry.job,))
        done = self._db.execute(
            "INSERT INTO entry (id, job, kind, data, at) VALUES (?, ?, ?, ?, ?)",
            (entry.id, entry.job, entry.kind, data, at),
        )
        return Entry(entry.id, entry.job, entry.kind, json.loads(data), at, int(done.lastrowid or 0))

    def entries(self, job: str) -> tuple[Entry, ...]:
        """See Log."""
        with self._told():
            rows = self._db.execute(
                "SELECT number, id, job, kind, data, at FROM entry WHERE job = ? ORDER BY number", (job,)
            ).fetchall()
        return tuple(_entry(r) for r in rows)

    def jobs(self) -> tuple[str, ...]:
        """See Log."""
        with self._told():
            return tuple(r[0] for r in self._db.execute("SELECT name FROM job ORDER BY name").fetchall())


def _entry(row: tuple[Any, ...]) -> Entry:
    number, id_, job, kind, data, at = row
    return Entry(id_, job, kind, json.loads(data), at, number)
