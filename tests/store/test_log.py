"""One suite for every kind of log: what is in memory and what is on disk behave alike."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from amptrail.store import Entry, Log, MemoryLog, StoreError, alive, export_job, import_job, rebuild
from amptrail.store.sql import open_log

AT = "2026-11-25T12:00:00+00:00"


def entry(id: str, kind: str = "note", job: str = "gate", **data: object) -> Entry:
    return Entry(job, id, kind, AT, data or {"text": id})


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def log(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Log]:
    if request.param == "memory":
        yield MemoryLog()
        return
    on_server = request.param == "postgresql"
    where = request.getfixturevalue("postgresql")() if on_server else tmp_path / "jobs.sqlite"
    with open_log(where) as made:
        yield made


def test_order_is_kept_and_jobs_are_apart(log: Log) -> None:
    for id in ("z", "a", "m"):
        log.add(entry(id))
    log.add(entry("a", job="other"))
    assert [e.id for e in log.entries("gate")] == ["z", "a", "m"]
    assert log.jobs() == ["gate", "other"]
    assert log.entries("nobody") == []


def test_adding_twice_adds_once(log: Log) -> None:
    assert log.add(entry("a"))
    again = Entry("gate", "a", "note", "2026-11-25T12:00:09+00:00", {"text": "a"})
    assert not log.add(again)
    assert log.entries("gate") == [entry("a")]


def test_other_content_under_the_same_id_is_refused(log: Log) -> None:
    log.add(entry("a"))
    for other in (entry("a", text="b"), entry("a", kind="reading")):
        with pytest.raises(StoreError, match="other content"):
            log.add(other)
    assert log.entries("gate") == [entry("a")]


def test_together_means_all_or_none(log: Log) -> None:
    log.add(entry("b"))
    with pytest.raises(StoreError):
        log.add_all([entry("a"), entry("b", text="different")])
    assert [e.id for e in log.entries("gate")] == ["b"]
    assert log.add_all([]) == []
    with pytest.raises(StoreError, match="one job"):
        log.add_all([entry("a"), entry("b", job="other")])


def test_undo_needs_an_entry_of_that_job(log: Log) -> None:
    log.add(entry("a", job="other"))
    with pytest.raises(StoreError, match="no entry a"):
        log.add(entry("u", "undo", entry="a"))


@pytest.mark.parametrize(
    "bad",
    [
        entry(""), entry(" a"), entry("a\n"), entry("x" * 201), entry("a", job=""), entry("a", kind="reding"),
        entry("a", "undo", text="no target"), entry("a", text=float("nan")), entry("a", text="\ud800"),
        entry("a", text=("tuple",)), Entry("gate", "a", "note", "yesterday", {}),
        Entry("gate", "a", "note", "2026-11-25T12:00:00", {}), entry("a", text=object()),
    ],
)  # fmt: skip
def test_bad_entries_are_refused_and_leave_nothing(log: Log, bad: Entry) -> None:
    with pytest.raises(StoreError) as caught:
        log.add(bad)
    assert caught.value.problems[0].remedy
    assert log.jobs() == []


def test_state_is_the_log_replayed(log: Log) -> None:
    log.add(entry("i", "intake", text="will not open"))
    log.add(entry("s", "sheet", text="battery BAT 12 V"))
    log.add(entry("r1", "reading", text="BAT.+ 12.4 V"))
    log.add(entry("r2", "reading", text="BAT.+ 9.9 V"))
    log.add(entry("f", "state", phase="running"))
    log.add(entry("n", "note", text="it rained"))
    log.add(entry("u", "undo", entry="r1"))
    s = rebuild(log.entries("gate"))
    assert (s.complaint, s.sheet, s.notes, s.facts) == (
        "will not open",
        "battery BAT 12 V",
        ("it rained",),
        {"phase": "running"},
    )
    assert s.readings == (("r2", "BAT.+ 9.9 V"),)
    assert s.readings_text == "BAT.+ 9.9 V\n"


def test_export_comes_back_equal_and_twice_is_once(log: Log) -> None:
    log.add(entry("a", text="Ω ohm"))
    log.add(entry("u", "undo", entry="a"))
    text = export_job(log, "gate")
    with MemoryLog() as other:
        assert import_job(other, text) == ("gate", 2)
        assert import_job(other, text) == ("gate", 0)
        assert other.entries("gate") == log.entries("gate")
        assert import_job(other, text, "copy") == ("copy", 2)
    with pytest.raises(StoreError, match="no job"):
        export_job(log, "nobody")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"amptrail-job": 2}',
        '{"amptrail-job": 1, "job": "a"}',
        '{"amptrail-job": 1, "job": "a", "entries": [3]}',
        '{"amptrail-job": 1, "job": "a", "entries": []}',
        "[" * 100_000,
    ],
)
def test_what_is_no_export_is_refused(text: str) -> None:
    with pytest.raises(StoreError, match="exported job"):
        import_job(MemoryLog(), text)


# any history of notes and undos of what came before
histories = st.lists(st.one_of(st.none(), st.integers(0, 30)), max_size=20)


def _written(history: list[int | None]) -> list[Entry]:
    made: list[Entry] = []
    for n, target in enumerate(history):
        if target is None or not made:
            made.append(entry(f"e{n}"))
        else:
            made.append(entry(f"e{n}", "undo", entry=made[target % len(made)].id))
    return made


def _alive_by_definition(entries: list[Entry]) -> list[Entry]:
    """An entry counts unless an undo that counts names it."""

    def counts(e: Entry) -> bool:
        return not any(u.kind == "undo" and u.data["entry"] == e.id and counts(u) for u in entries)

    return [e for e in entries if e.kind != "undo" and counts(e)]


@given(histories)
def test_undo_of_anything_even_of_an_undo(history: list[int | None]) -> None:
    made = _written(history)
    assert alive(made) == _alive_by_definition(made)


@given(histories, st.lists(st.integers(0, 30)))
def test_retries_change_nothing(history: list[int | None], repeats: list[int]) -> None:
    made, log = _written(history), MemoryLog()
    for n, e in enumerate(made):
        log.add(e)
        for r in repeats:
            assert not log.add(made[r % (n + 1)])
    assert log.entries("gate") == made
