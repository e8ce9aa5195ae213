"""The log on disk: what was acknowledged is there, and what goes wrong is said."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from sqlalchemy import create_engine, event, inspect

from amptrail.store import Entry, StoreError
from amptrail.store.migrate import HEAD
from amptrail.store.sql import default_path, open_log, said
from amptrail.store.tables import metadata

AT = "2026-11-25T12:00:00+00:00"
KILLS = int(os.environ.get("AMPTRAIL_KILLS", "30"))


def entry(id: str, text: str = "x") -> Entry:
    return Entry("gate", id, "note", AT, {"text": text})


def code(error: pytest.ExceptionInfo[StoreError]) -> str:
    return error.value.problems[0].code


def test_reopening_finds_everything(tmp_path: Path) -> None:
    file = tmp_path / "deep" / "er" / "jobs.sqlite"
    with open_log(file) as log:
        log.add(entry("a"))
    with open_log(file) as log:
        assert log.entries("gate") == [entry("a")]


def test_durable_settings_are_on(tmp_path: Path) -> None:
    with open_log(tmp_path / "j") as log, log.engine.connect() as c:
        got = [
            c.exec_driver_sql(f"PRAGMA {p}").scalar() for p in ("journal_mode", "synchronous", "foreign_keys")
        ]
    assert got == ["wal", 2, 1]


WRITER = """
import sys
from pathlib import Path
from amptrail.store import Entry
from amptrail.store.sql import open_log
log, n = open_log(Path(sys.argv[1])), int(sys.argv[2])
while True:
    log.add(Entry("gate", f"e{n}", "note", "2026-11-25T12:00:00+00:00", {"text": "x" * (n % 5000)}))
    print(n, flush=True)
    n += 1
"""


def _written_until_killed(file: Path, first: int, after_s: float) -> list[int]:
    child = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(file), str(first)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    said_first = child.stdout.readline()  # it is writing now
    time.sleep(after_s)
    child.send_signal(signal.SIGKILL)
    rest = child.stdout.read()
    child.stdout.close()
    child.wait()
    return [int(x) for x in (said_first + rest).split("\n")[:-1]]


def test_a_killed_writer_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    file, rng = tmp_path / "jobs.sqlite", random.Random(7)
    acknowledged: list[str] = []
    for _ in range(KILLS):
        first = len(open_and_list(file))
        got = _written_until_killed(file, first, rng.uniform(0, 0.05))
        assert got
        acknowledged += [f"e{n}" for n in got]
    there = open_and_list(file)
    # whole, in order, and at most the one entry a kill more than was told to anybody
    assert there == [f"e{n}" for n in range(len(there))]
    assert set(acknowledged) <= set(there)
    assert len(there) - len(acknowledged) <= KILLS


def open_and_list(file: Path) -> list[str]:
    with open_log(file) as log:
        return [e.id for e in log.entries("gate")]


def test_two_programs_with_the_same_entry(tmp_path: Path) -> None:
    file = tmp_path / "j"
    with open_log(file) as one, open_log(file) as two:
        assert one.add(entry("a"))
        assert not two.add(entry("a"))
        with pytest.raises(StoreError, match="other content"):
            two.add(entry("a", "y"))


def test_locked(tmp_path: Path) -> None:
    file = tmp_path / "j"
    with open_log(file, wait_s=0.05) as log:
        other = sqlite3.connect(file, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError) as caught:
            log.add(entry("a"))
        assert code(caught) == "store-locked"
        assert log.entries("gate") == []  # readers are never in anybody's way
        other.close()
        assert log.add(entry("a"))


def test_disk_full_leaves_the_log_whole(tmp_path: Path) -> None:
    with open_log(tmp_path / "j") as log:
        log.add(entry("a"))
        log.engine.dispose()
        pages = sqlite3.connect(tmp_path / "j")
        most = pages.execute("PRAGMA page_count").fetchone()[0] + 2
        pages.close()
        event.listen(log.engine, "connect", lambda c, _: c.execute(f"PRAGMA max_page_count = {most}"))
        with pytest.raises(StoreError) as caught:
            log.add(entry("b", "x" * 100_000))
        assert code(caught) == "disk-full"
        assert log.entries("gate") == [entry("a")]


def test_read_only(tmp_path: Path) -> None:
    open_log(tmp_path / "j").close()
    with open_log(tmp_path / "j") as log:
        log.engine.dispose()
        event.listen(log.engine, "connect", lambda c, _: c.execute("PRAGMA query_only = ON"))
        with pytest.raises(StoreError) as caught:
            log.add(entry("a"))
        assert code(caught) == "store-read-only"


def test_not_a_database(tmp_path: Path) -> None:
    file = tmp_path / "letter.txt"
    file.write_text("Dear customer, " * 100)
    with pytest.raises(StoreError) as caught:
        open_log(file)
    assert code(caught) == "not-a-store"
    assert file.read_text().startswith("Dear customer")


def test_somebody_elses_database_is_left_alone(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "j")
    other.execute("CREATE TABLE songs (name TEXT)")
    other.commit()
    other.close()
    with pytest.raises(StoreError) as caught:
        open_log(tmp_path / "j")
    assert code(caught) == "not-a-store"


def test_a_newer_log_is_left_alone(tmp_path: Path) -> None:
    open_log(tmp_path / "j").close()
    newer = sqlite3.connect(tmp_path / "j")
    newer.execute("UPDATE alembic_version SET version_num = '9999'")
    newer.commit()
    newer.close()
    with pytest.raises(StoreError) as caught:
        open_log(tmp_path / "j")
    assert code(caught) == "store-too-new"


def test_folder_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError) as caught:
        open_log(tmp_path / "file" / "j")
    assert code(caught) == "store-cannot-open"
    (tmp_path / "folder").mkdir()
    with pytest.raises(StoreError) as caught:
        open_log(tmp_path / "folder")
    assert code(caught) == "store-cannot-open"


def test_an_unknown_trouble_is_still_said() -> None:
    assert said(sqlite3.OperationalError("something new"), "j").problems[0].code == "store-error"


@pytest.mark.parametrize(
    "statement", ["DELETE FROM entries", "UPDATE entries SET data = '{}'", "DELETE FROM jobs"]
)
def test_the_file_itself_refuses_changes(tmp_path: Path, statement: str) -> None:
    with open_log(tmp_path / "j") as log:
        log.add(entry("a"))
    other = sqlite3.connect(tmp_path / "j")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        other.execute(statement)
    other.close()


def test_migrations_make_the_tables_the_program_uses(tmp_path: Path) -> None:
    def columns(engine: object) -> dict[str, list[tuple[str, str, bool]]]:
        found = inspect(engine)
        return {
            t: [(c["name"], str(c["type"]), c["nullable"]) for c in found.get_columns(t)]  # type: ignore[union-attr]
            for t in metadata.tables
        }

    plain = create_engine("sqlite://")
    metadata.create_all(plain)
    with open_log(tmp_path / "j") as log:
        assert columns(log.engine) == columns(plain)
    plain.dispose()


def test_head_is_the_last_migration() -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    import amptrail.store.migrations as here

    config = Config()
    config.set_main_option("script_location", str(Path(here.__file__).parent))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]


def test_home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    assert default_path().parent == tmp_path
    monkeypatch.delenv("AMPTRAIL_HOME")
    assert default_path().parent.name == "amptrail"
