"""The log on disk: SQLite by default. What `add` acknowledged survives a kill and a power cut."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, select
from sqlalchemy.exc import DatabaseError

from amptrail.store import migrate
from amptrail.store.entries import Entry, StoreError, dumped, refuse
from amptrail.store.log import Choose, Log
from amptrail.store.tables import entries, jobs

FILE = "jobs.sqlite"
WAIT_S = 10.0  # for another program that is just writing
PRAGMAS = ("foreign_keys = ON", "journal_mode = WAL", "synchronous = FULL")
READ_ONLY = {"isolation_level": "AUTOCOMMIT"}

# what SQLite says -> code, what is wrong, what to do
SAYINGS = (
    ("locked", "store-locked", "another program is writing to it", "close the other program and try again"),
    ("readonly", "store-read-only", "it cannot be written to", "check the rights of the file and its folder"),
    ("full", "disk-full", "the disk is full", "free some space; nothing was half written"),
    ("not a database", "not-a-store", "the file is no job log", "name another file, it was left alone"),
    ("malformed", "store-damaged", "the file is damaged", "keep a copy, bring back your last export"),
    ("append-only", "append-only", "entries are never changed", "add an undo in place of a change"),
    ("unable to open", "store-cannot-open", "it cannot be opened", "check the folder and its rights"),
)  # fmt: skip


def default_path() -> Path:
    """Where jobs are kept: in AMPTRAIL_HOME, else in the user's data folder."""
    home = os.environ.get("AMPTRAIL_HOME")
    if home:
        return Path(home) / FILE
    from platformdirs import user_data_path

    return user_data_path("amptrail", appauthor=False) / FILE


def said(error: Exception, where: str) -> StoreError:
    """A database error in the program's own words."""
    text = str(getattr(error, "orig", None) or error)
    for words, code, what, remedy in SAYINGS:
        if words in text.lower():
            return refuse(code, f"the job log {where} cannot be used: {what}", remedy)
    return refuse("store-error", f"the job log {where} cannot be used: {text}", "keep a copy of the file")


def _connected(connection: Any, _: object) -> None:
    connection.isolation_level = None  # transactions begin where this module says so
    for p in PRAGMAS:
        connection.execute(f"PRAGMA {p}")


def _begun(connection: Connection) -> None:
    if connection.get_execution_options().get("isolation_level") != "AUTOCOMMIT":
        connection.exec_driver_sql("BEGIN IMMEDIATE")  # looking and adding are one step


class SqlLog(Log):
    """A log in an SQL database, opened by `open_log`."""

    def __init__(self, engine: Engine, where: str) -> None:
        self.engine, self.where = engine, where
        with self._told(), engine.begin() as c:
            migrate.upgrade(c)

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except DatabaseError as e:
            raise said(e, self.where) from e

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with self._told(), self.engine.connect().execution_options(**READ_ONLY) as c:
            yield c

    def jobs(self) -> list[str]:
        with self._reading() as c:
            return list(c.execute(select(jobs.c.name).order_by(jobs.c.number)).scalars())

    def entries(self, job: str) -> list[Entry]:
        with self._reading() as c:
            return _stored(c, job)

    def _append(self, job: str, choose: Choose) -> list[Entry]:
        with self._told(), self.engine.begin() as c:
            new = choose(_stored(c, job))
            if new:
                number = _job_number(c, job)
                c.execute(entries.insert(), [_row(number, e) for e in new])
        return new

    def close(self) -> None:
        self.engine.dispose()


def _row(job: int, e: Entry) -> dict[str, Any]:
    return {"job": job, "id": e.id, "kind": e.kind, "at": e.at, "data": dumped(e.data)}


def _job_number(c: Connection, job: str) -> int:
    found = c.execute(select(jobs.c.number).where(jobs.c.name == job)).scalar()
    if found is None:
        found = c.execute(jobs.insert().values(name=job).returning(jobs.c.number)).scalar_one()
    return int(found)


def _stored(c: Connection, job: str) -> list[Entry]:
    wanted = (
        select(entries)
        .join(jobs, jobs.c.number == entries.c.job)
        .where(jobs.c.name == job)
        .order_by(entries.c.number)
    )
    return [Entry(job, r.id, r.kind, r.at, json.loads(r.data)) for r in c.execute(wanted)]


def open_log(path: Path | None = None, wait_s: float = WAIT_S) -> SqlLog:
    """Open the log, making file and tables when there are none. `wait_s`: patience with another writer."""
    file = path or default_path()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise refuse("store-cannot-open", f"the folder {file.parent} cannot be made: {e.strerror or e}",
                     "set AMPTRAIL_HOME to a folder of yours") from e  # fmt: skip
    engine = create_engine(URL.create("sqlite", database=str(file)), connect_args={"timeout": wait_s})
    event.listen(engine, "connect", _connected)
    event.listen(engine, "begin", _begun)
    try:
        return SqlLog(engine, str(file))
    except BaseException:
        engine.dispose()
        raise
