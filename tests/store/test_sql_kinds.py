"""What every database must do alike: SQLite and a real PostgreSQL, one suite."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from amptrail.store import (
    Attached,
    Entry,
    Person,
    StoreError,
    export_file,
    import_file,
    of_bytes,
    rebuild,
    search,
)
from amptrail.store.backup import backup, restore
from amptrail.store.files import PIECE
from amptrail.store.migrate import HEAD
from amptrail.store.sql import SqlLog, open_log

AT = "2026-11-25T12:00:00+00:00"
Fresh = Callable[[], Path | str]
SCHEMAS = Path(__file__).parent / "schemas"


def entry(id: str, kind: str = "note", job: str = "gate", by: str = "", **data: object) -> Entry:
    return Entry(job, id, kind, AT, data or {"text": id}, by)


def attach(id: str, content: bytes, by: str = "") -> tuple[Entry, Attached]:
    a = of_bytes(content)
    return entry(id, "file", by=by, sha256=a.sha256, size=a.size, media=a.media, name=f"{id}.bin"), a


def code(error: pytest.ExceptionInfo[StoreError]) -> str:
    assert error.value.problems[0].remedy
    return error.value.problems[0].code


@pytest.fixture(params=["sqlite", "postgresql"])
def fresh(request: pytest.FixtureRequest, tmp_path: Path) -> Fresh:
    """Makes places for a new log."""
    if request.param == "postgresql":
        made: Fresh = request.getfixturevalue("postgresql")
        return made
    names = (tmp_path / f"jobs{n}.sqlite" for n in range(9))
    return lambda: next(names)


@pytest.fixture
def log(fresh: Fresh) -> Iterator[SqlLog]:
    with open_log(fresh()) as made:
        yield made


def test_reopening_finds_everything(fresh: Fresh) -> None:
    where = fresh()
    with open_log(where) as log:
        log.add(entry("a", by="A. Sample"))
    with open_log(where) as log:
        assert log.entries("gate") == [entry("a", by="A. Sample")]
        assert log.entries("gate")[0].by == "A. Sample"


def test_a_file_comes_back_whole_and_is_kept_once(log: SqlLog) -> None:
    content = os.urandom(2 * PIECE + 17)
    assert log.add(*attach("a", content))
    assert log.add(*attach("b", content))
    e = log.entries("gate")[0]
    assert b"".join(log.file(str(e.data["sha256"]))) == content
    with log.engine.connect() as c:
        assert c.execute(text("SELECT count(*) FROM pieces")).scalar() == 3
        assert c.execute(text("SELECT count(*) FROM files")).scalar() == 1
    assert [f["id"] for f in rebuild(log.entries("gate")).files] == ["a", "b"]


def test_an_entry_without_its_file_is_refused(log: SqlLog) -> None:
    with pytest.raises(StoreError) as caught:
        log.add(attach("a", b"picture")[0])
    assert code(caught) == "no-such-file"
    assert log.jobs() == []
    with pytest.raises(StoreError) as caught:
        list(log.file("0" * 64))
    assert code(caught) == "no-such-file"


def test_a_file_that_changes_while_it_is_read_leaves_nothing(log: SqlLog) -> None:
    e, a = attach("a", b"one")
    other = Attached(a.sha256, a.size, a.media, lambda: io.BytesIO(b"two"))
    with pytest.raises(StoreError) as caught:
        log.add(e, other)
    assert code(caught) == "file-changed"
    assert log.jobs() == []
    assert log.add(e, a)


@pytest.mark.parametrize("table", ["jobs", "entries", "files", "pieces", "people"])
@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET {}"])
def test_the_database_itself_refuses_changes(log: SqlLog, table: str, verb: str) -> None:
    log.add(*attach("a", b"one"))
    log.list_person(Person("A. Sample", "technician", AT))
    column = {"jobs": "name", "entries": "kind", "files": "media", "pieces": "part", "people": "role"}[table]
    with pytest.raises(Exception, match="append-only"), log.engine.begin() as c:
        c.execute(text(verb.format(table, f"{column} = {column}")))


def test_who_may_enter_what(log: SqlLog) -> None:
    log.add(entry("first"))  # nobody is listed: one person's own log
    for name, role in (("A. Sample", "technician"), ("B. Office", "office"), ("C. Guest", "read-only")):
        log.list_person(Person(name, role, AT))  # type: ignore[arg-type]
    log.add(entry("r", "reading", by="A. Sample", text="BAT.+ 12.4 V"))
    log.add(entry("t", "time", by="B. Office", what="call", minutes=5))
    for bad, why in (
        (entry("x"), "who"),
        (entry("x", by="D. Nobody"), "who"),
        (entry("x", by="C. Guest"), "not-allowed"),
        (entry("x", "reading", by="B. Office", text="BAT.+ 1 V"), "not-allowed"),
        (entry("x", "undo", by="B. Office", entry="r"), "not-allowed"),
    ):
        with pytest.raises(StoreError) as caught:
            log.add(bad)
        assert code(caught) == why
    assert log.add(entry("u", "undo", by="B. Office", entry="t"))
    log.list_person(Person("A. Sample", "gone", AT))
    with pytest.raises(StoreError) as caught:
        log.add(entry("y", by="A. Sample"))
    assert code(caught) == "who"
    assert [e.id for e in log.entries("gate")] == ["first", "r", "t", "u"]
    with pytest.raises(StoreError) as caught:
        log.list_person(Person("E", "king", AT))  # type: ignore[arg-type]
    assert code(caught) == "bad-role"


def test_what_was_it_last_time(log: SqlLog) -> None:
    log.add(entry("i", "intake", job="arm", text="Lift pumps do not run"))
    log.add(entry("c", "conclusion", job="arm", text="G2 resistance", cause="water on the joint"))
    log.add(entry("i", "intake", job="horn", text="horn is dead"))
    log.add(entry("s", "sheet", job="horn", text="motor PUMP"))
    log.add(entry("n", "note", job="gate", text="the lift pump was replaced"))
    assert [h.job for h in search(log, "What was it last time on a lift pump?")] == ["gate", "arm", "horn"]
    hit = search(log, "WATER at joints")[0]
    assert (hit.job, hit.words, hit.entries[0].id) == ("arm", ("water", "joint"), "c")
    log.add(entry("u", "undo", job="gate", entry="n"))
    assert [h.job for h in search(log, "lift pump")] == ["arm", "horn"]
    log.add(entry("m", "note", job="gate", text="Überlauf"))  # what comes after the first question
    assert [h.job for h in search(log, "uberlauf")] == ["gate"]
    assert search(log, "100%_") == []
    for empty in ("what was it?", "", "%%"):
        with pytest.raises(StoreError) as caught:
            search(log, empty)
        assert code(caught) == "usage"


def test_who_may_only_read_finds_it_too(postgresql: Callable[[], str]) -> None:
    """A database user without the right to write: nothing is kept, everything is found, and why is said."""
    import psycopg

    url = postgresql()
    with open_log(url) as log:
        log.add(entry("a", text="lift pump"))
        assert search(log, "pump")
        log.add(entry("b", job="arm", text="another lift pump"))
    with psycopg.connect(url, autocommit=True) as c:
        c.execute("CREATE ROLE reader LOGIN")
        c.execute("GRANT SELECT ON ALL TABLES IN SCHEMA public TO reader")
    with open_log(url.replace("amptrail@", "reader@")) as log:
        assert log.jobs() == ["gate", "arm"]
        assert [h.job for h in search(log, "lift pump")] == ["arm", "gate"]
        with pytest.raises(StoreError) as caught:
            log.add(entry("c"))
        assert code(caught) == "store-read-only"


def test_a_search_while_another_writes(fresh: Fresh) -> None:
    where = fresh()
    with open_log(where) as log, open_log(where, wait_s=0.1) as other:
        log.add(entry("a", text="lift pump"))
        with log.engine.begin():
            assert [h.job for h in search(other, "pump")] == ["gate"]


def together(where: Path | str, names: str, work: Callable[[SqlLog, str], object]) -> None:
    """The work of every name at the same time, each with a log of its own; none may fail."""
    failed: list[BaseException] = []

    def device(name: str) -> None:
        try:
            with open_log(where, wait_s=60) as log:
                work(log, name)
        except BaseException as e:
            failed.append(e)

    threads = [threading.Thread(target=device, args=(name,)) for name in names]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert failed == []


def test_several_programs_on_one_job(fresh: Fresh) -> None:
    """Two phones and a laptop, or two servers on one file: everything of everybody, each in its order."""
    where = fresh()
    open_log(where).close()
    together(where, "abc", lambda log, name: [log.add(entry(f"{name}{n}", by=name)) for n in range(25)])
    with open_log(where) as log:
        found = [e.id for e in log.entries("gate")]
    assert len(found) == 75
    for name in "abc":
        assert [x for x in found if x[0] == name] == [f"{name}{n}" for n in range(25)]


def test_several_programs_open_a_new_log_at_once(fresh: Fresh) -> None:
    where = fresh()
    together(where, "abcd", lambda log, name: log.add(entry(name)))
    with open_log(where) as log:
        assert sorted(e.id for e in log.entries("gate")) == list("abcd")


def test_locked(fresh: Fresh) -> None:
    where = fresh()
    with open_log(where, wait_s=0.1) as log, open_log(where, wait_s=0.1) as other:
        with other.engine.begin():
            with pytest.raises(StoreError) as caught:
                log.add(entry("a"))
            assert code(caught) == "store-locked"
            assert log.entries("gate") == []  # readers are never in anybody's way
            with open_log(where, wait_s=0.1) as third:  # nor is somebody who opens it
                assert third.jobs() == []
        assert log.add(entry("a"))


def filled(log: SqlLog) -> None:
    log.add(entry("i", "intake", text="dead lift pump", by="A. Sample"))
    log.add(*attach("f", b"\x89PNG\r\n\x1a\npicture"))
    log.add(entry("u", "undo", entry="i"))
    log.add(entry("n", job="arm"))


def test_backup_while_others_write_and_back(fresh: Fresh, tmp_path: Path) -> None:
    stop = threading.Event()
    where = fresh()
    with open_log(where) as log:
        filled(log)

        def writer() -> None:
            with open_log(where, wait_s=60) as other:
                n = 0
                while not stop.is_set():
                    other.add(entry(f"w{n}", job="busy"))
                    n += 1

        thread = threading.Thread(target=writer)
        thread.start()
        try:
            while len(log.entries("busy")) < 3:
                pass
            assert backup(log, tmp_path / "b" / "copy.sqlite") > 0
        finally:
            stop.set()
            thread.join()
        assert sorted(p.name for p in (tmp_path / "b").iterdir()) == ["copy.sqlite"]
        with pytest.raises(StoreError) as caught:
            backup(log, tmp_path / "b" / "copy.sqlite")
        assert code(caught) == "file-exists"
        before = log.entries("gate"), log.entries("arm")
    with open_log(fresh()) as other:
        other.add(entry("own", job="arm"))
        jobs, entries = restore(other, tmp_path / "b" / "copy.sqlite")
        assert jobs == 2
        assert entries >= 7
        assert other.entries("gate") == before[0]
        assert [e.id for e in other.entries("arm")] == ["own", "n"]
        busy = [e.id for e in other.entries("busy")]
        assert busy == [f"w{n}" for n in range(len(busy))]  # one moment: no gap
        sha256 = str(before[0][1].data["sha256"])
        assert b"".join(other.file(sha256)) == b"\x89PNG\r\n\x1a\npicture"
        assert restore(other, tmp_path / "b" / "copy.sqlite") == (0, 0)
    with open_log(tmp_path / "b" / "copy.sqlite") as copy:  # a backup is a log
        assert copy.entries("gate") == before[0]


def test_a_job_file_goes_round(fresh: Fresh, tmp_path: Path) -> None:
    with open_log(fresh()) as log, open_log(fresh()) as other:
        filled(log)
        with (tmp_path / "gate.job").open("wb") as f:
            export_file(log, "gate", f)
        assert import_file(other, tmp_path / "gate.job") == ("gate", 3)
        assert import_file(other, tmp_path / "gate.job") == ("gate", 0)
        assert other.entries("gate") == log.entries("gate")
        assert import_file(other, tmp_path / "gate.job", "copy") == ("copy", 3)


def _load(fresh: Fresh, fixture: Path) -> Path | str:
    where = fresh()
    script = fixture.read_text(encoding="utf-8")
    if isinstance(where, Path):
        import sqlite3

        c = sqlite3.connect(where)
        c.executescript(script)
        c.close()
    else:
        import psycopg

        lines = [x for x in script.splitlines() if not x.startswith(("\\", "--"))]
        with psycopg.connect(where, autocommit=True) as c:
            c.execute("\n".join(lines).encode())
    return where


@pytest.mark.parametrize("version", ["0001", "0002"])
def test_a_log_of_each_earlier_version_opens(
    fresh: Fresh, version: str, request: pytest.FixtureRequest
) -> None:
    kind = request.node.callspec.params["fresh"]
    fixture = SCHEMAS / f"{version}-{kind}.sql"
    if version == "0001" and kind == "postgresql":
        assert not fixture.exists()  # there was no log on PostgreSQL before 0002
        return
    where = _load(fresh, fixture)
    with open_log(where) as log:
        s = rebuild(log.entries("gate"))
        assert (s.complaint, s.cause) == ("the lift pump is dead; Überlauf", "water on the joint")
        assert s.readings_text == "BAT.+ 9.9 V\n"
        assert log.jobs() == ["gate", "arm"]
        assert [h.job for h in search(log, "lift pumps")] == ["gate"]
        log.add(*attach("new", b"more", by="A. Sample"))
        assert len(rebuild(log.entries("gate")).files) == (1 if version == "0001" else 2)
        with pytest.raises(Exception, match="append-only"), log.engine.begin() as c:
            c.execute(text("DELETE FROM entries"))


def test_every_version_has_its_fixture() -> None:
    versions = Path(open_log.__code__.co_filename).parent / "migrations" / "versions"
    numbers = sorted(p.name[1:5] for p in versions.glob("v*.py"))
    assert numbers[-1] == HEAD
    for n in numbers:
        assert (SCHEMAS / f"{n}-sqlite.sql").exists()
        assert n == "0001" or (SCHEMAS / f"{n}-postgresql.sql").exists()
