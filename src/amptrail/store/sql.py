"""The log in a database: SQLite by default, PostgreSQL by a URL. What `add` acknowledged survives a kill
and a power cut."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, delete, func, select
from sqlalchemy.exc import DBAPIError

from amptrail.store import migrate
from amptrail.store.engines import READ_ONLY, WAIT_S, engine_of, said
from amptrail.store.entries import Entry, StoreError, dumped, refuse
from amptrail.store.files import Attached
from amptrail.store.log import Choose, Log, no_file
from amptrail.store.people import Person
from amptrail.store.search import VERSION, weighed
from amptrail.store.tables import entries, files, indexed, jobs, people, pieces, words
from amptrail.store.where import named

AFTER = "\U0010ffff"  # sorts behind every letter


class SqlLog(Log):
    """A log in an SQL database, opened by `open_log`."""

    def __init__(self, engine: Engine, where: str) -> None:
        self.engine, self.where = engine, where
        with self._reading() as c:
            found = migrate.version(c)
        if found != migrate.HEAD:
            with self._told(), engine.begin() as c:
                migrate.upgrade(c)

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as e:
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

    def file(self, sha256: str) -> Iterator[bytes]:
        with self._reading() as c:
            if c.execute(select(files.c.size).where(files.c.sha256 == sha256)).scalar() is None:
                raise no_file(sha256)
        return self._pieces(sha256)

    def _pieces(self, sha256: str) -> Iterator[bytes]:
        digest, part = hashlib.sha256(), 0
        while True:
            with self._reading() as c:  # a piece at a time: nobody is kept waiting by a slow reader
                wanted = select(pieces.c.data).where(pieces.c.sha256 == sha256, pieces.c.part == part)
                piece = c.execute(wanted).scalar()
            if piece is None:
                break
            digest.update(piece)
            yield bytes(piece)
            part += 1
        if digest.hexdigest() != sha256:
            raise refuse("store-damaged", f"the file {sha256[:12]}… in {self.where} is not what was attached",
                         "bring it back from a backup")  # fmt: skip

    def people(self) -> dict[str, Person]:
        with self._reading() as c:
            rows = c.execute(select(people).order_by(people.c.number))
            return {r.name: Person(r.name, r.role, r.at) for r in rows}

    def _list_person(self, person: Person) -> None:
        with self._told(), self.engine.begin() as c:
            c.execute(people.insert().values(name=person.name, role=person.role, at=person.at))

    def _append(self, job: str, choose: Choose, sent: Sequence[Attached]) -> list[Entry]:
        with self._told(), self.engine.begin() as c:
            new = choose(_stored(c, job))
            for a in sent:
                _keep(c, a)
            for e in new:
                if e.kind == "file" and not _has(c, str(e.data["sha256"])):
                    raise no_file(str(e.data["sha256"]))
            if new:
                number = _job_number(c, job)
                c.execute(entries.insert(), [_row(number, e) for e in new])
        return new

    def saying(self, begin: str) -> dict[str, int]:
        behind = self._indexed()
        with self._reading() as c:
            wanted = (
                select(jobs.c.name, func.max(words.c.weight))
                .join(words, words.c.job == jobs.c.number)
                .where(words.c.word >= begin, words.c.word < begin + AFTER)
                .group_by(jobs.c.name)
            )
            found = {name: int(weight) for name, weight in c.execute(wanted)}
            names = {r.number: r.name for r in c.execute(select(jobs))} if behind else {}
        for job, said_words in behind.items():
            for word, weight in said_words:
                if word.startswith(begin):
                    found[names[job]] = max(found.get(names[job], 0), weight)
        return found

    def _indexed(self) -> dict[int, set[tuple[str, int]]]:
        """Bring the words up to the last entry; who may not write gets those that are missing, by job."""
        try:
            self._index()
        except StoreError as e:
            if e.problems[0].code not in ("store-read-only", "store-locked"):
                raise
            with self._reading() as c:
                new = select(entries).where(entries.c.number > (_upto(c) or 0))
                return _words(c.execute(new).fetchall())
        return {}

    def _index(self) -> None:
        """Bring the words up to the last entry. They are derived: an index of another version goes."""
        with self._reading() as c:
            last, upto = _last(c), _upto(c)
        if upto == last:
            return
        with self._told(), self.engine.begin() as c:
            last, upto = _last(c), _upto(c)
            if upto is None:
                c.execute(delete(words))
                c.execute(delete(indexed))
                c.execute(indexed.insert().values(version=VERSION, upto=0))
            new = select(entries).where(entries.c.number > (upto or 0)).order_by(entries.c.number)
            for job, found in _words(c.execute(new).fetchall()).items():
                known = select(words.c.word, words.c.weight).where(words.c.job == job)
                more = found - {(w, n) for w, n in c.execute(known)}
                if more:
                    c.execute(words.insert(), [{"word": w, "job": job, "weight": n} for w, n in more])
            c.execute(indexed.update().where(indexed.c.version == VERSION).values(upto=last))

    def close(self) -> None:
        self.engine.dispose()


def _last(c: Connection) -> int:
    return int(c.execute(select(func.max(entries.c.number))).scalar() or 0)


def _upto(c: Connection) -> int | None:
    found = c.execute(select(indexed.c.upto).where(indexed.c.version == VERSION)).scalar()
    return None if found is None else int(found)


def _words(rows: Sequence[Any]) -> dict[int, set[tuple[str, int]]]:
    found: dict[int, set[tuple[str, int]]] = {}
    for r in rows:
        found.setdefault(r.job, set()).update(weighed(Entry("", r.id, r.kind, r.at, json.loads(r.data))))
    return found


def _row(job: int, e: Entry) -> dict[str, Any]:
    return {"job": job, "id": e.id, "kind": e.kind, "at": e.at, "data": dumped(e.data), "by": e.by}


def _job_number(c: Connection, job: str) -> int:
    found = c.execute(select(jobs.c.number).where(jobs.c.name == job)).scalar()
    if found is None:
        found = c.execute(jobs.insert().values(name=job).returning(jobs.c.number)).scalar_one()
    return int(found)


def _has(c: Connection, sha256: str) -> bool:
    return c.execute(select(files.c.size).where(files.c.sha256 == sha256)).scalar() is not None


def _keep(c: Connection, a: Attached) -> None:
    """The same content twice is kept once."""
    if _has(c, a.sha256):
        return
    c.execute(files.insert().values(sha256=a.sha256, size=a.size, media=a.media))
    for part, piece in enumerate(a.pieces()):
        c.execute(pieces.insert().values(sha256=a.sha256, part=part, data=piece))


def _stored(c: Connection, job: str) -> list[Entry]:
    wanted = (
        select(entries)
        .join(jobs, jobs.c.number == entries.c.job)
        .where(jobs.c.name == job)
        .order_by(entries.c.number)
    )
    return [Entry(job, r.id, r.kind, r.at, json.loads(r.data), r.by) for r in c.execute(wanted)]


def open_log(where: Path | str | None = None, wait_s: float = WAIT_S) -> SqlLog:
    """Open the log, making file and tables when there are none. `where`: a file, or the URL of a database;
    `wait_s`: patience with another writer. StoreError says what is wrong with it."""
    engine, name = engine_of(where or named(), wait_s)
    try:
        return SqlLog(engine, name)
    except BaseException:
        engine.dispose()
        raise
