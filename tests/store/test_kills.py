"""A small sample of `python -m benchmarks.kills`, on SQLite and on PostgreSQL; and a server that dies."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from benchmarks.kills import KINDS, lost, trial
from benchmarks.kills import Place as UnderFire

from amptrail.store import Entry, StoreError, of_bytes
from amptrail.store.sql import open_log

AT = "2026-11-25T12:00:00+00:00"
KILLS = int(os.environ.get("AMPTRAIL_KILLS", "16"))


def test_killed_at_random_moments(tmp_path: Path) -> None:
    kills, pieces, missing = trial(KILLS, 11, tmp_path)
    assert missing == []
    assert set(kills) == set(KINDS)
    assert sum(pieces.values()) > KILLS  # there was something to lose


def test_killed_while_writing_to_a_server(tmp_path: Path, postgresql: Callable[[], str]) -> None:
    kills, pieces, missing = trial(7, 12, tmp_path, postgresql())
    assert missing == []
    assert set(kills) == set(KINDS) - {"migration"}
    assert sum(pieces.values()) > 7


def test_the_trial_notices_what_is_lost(tmp_path: Path) -> None:
    place = UnderFire(tmp_path, tmp_path / "j")
    with place.open() as log:
        log.add(Entry("append", "e0", "note", AT))
        a = of_bytes(b"not what that name says")
        log.add(Entry("file", "f0", "file", AT, {"sha256": a.sha256}), a)
        log.add(Entry("undo", "e0", "reading", AT, {"text": "x"}))
        log.add(Entry("import0", "e1", "note", AT))
    found = lost(place, "append", ["append e1"])
    assert len(found) == 5
    assert "append e1 was acknowledged and is not there" in found


def test_a_server_that_dies_and_comes_back(postgresql: Callable[[], str]) -> None:
    """The server's process for this client is killed: it starts anew, the program says so and goes on."""
    url, kept, troubles = postgresql(), [], []
    stop = threading.Event()
    with open_log(url, wait_s=5) as log:

        def writer() -> None:
            n = 0
            while not stop.is_set():
                e = Entry("gate", f"e{n}", "note", AT, {"text": str(n)})
                try:
                    log.add(e)
                except StoreError as x:
                    troubles.append(x.problems[0].code)
                    time.sleep(0.02)  # and the same entry again, under its id
                    continue
                kept.append(e.id)
                n += 1

        thread = threading.Thread(target=writer)
        thread.start()
        for _ in range(3):
            _grown(kept)
            pid = _its_process(url)
            if pid is None:
                pytest.fail("the server works for nobody")
            os.kill(pid, signal.SIGKILL)
        _grown(kept)
        stop.set()
        thread.join()
    with open_log(url) as log:
        assert [e.id for e in log.entries("gate")] == kept
    assert set(troubles) <= {"store-unreachable"}
    assert troubles


def _grown(kept: list[str]) -> None:
    """Wait until more was acknowledged."""
    before, until = len(kept), time.monotonic() + 30
    while len(kept) < before + 5:
        assert time.monotonic() < until
        time.sleep(0.01)


def _its_process(url: str) -> int | None:
    import psycopg

    with psycopg.connect(url) as c:
        row = c.execute(
            "SELECT pid FROM pg_stat_activity WHERE application_name = 'amptrail' LIMIT 1"
        ).fetchone()
    return int(row[0]) if row else None
