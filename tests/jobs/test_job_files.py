"""Files, people, search, copies and comebacks of jobs through the front door."""

from __future__ import annotations

import json
import shlex
import sqlite3
from base64 import b64encode
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.batch import answers
from amptrail.cli.files import Files
from amptrail.cli.main import main
from amptrail.jobs.base import joblog

SHEET = """
vehicle "Gate lift"
place tail 5 min damp
battery BAT 12.6 V
fuse F1 10 A
lamp A 12 V 21 W at tail
ground G1
path BAT.+ -- F1 -- A -- G1
path BAT.- -- body
"""
Call = Callable[[str], dict[str, Any]]


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("AMPTRAIL_STORE", raising=False)
    monkeypatch.delenv("AMPTRAIL_BY", raising=False)
    monkeypatch.chdir(tmp_path)
    Path("gate.sheet").write_text(SHEET)
    Path("joint.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 50)

    def call(line: str) -> dict[str, Any]:
        main([*shlex.split(line), "--json"])
        return dict(json.loads(capsys.readouterr().out))

    assert call('job new gate gate.sheet --complaint "the tail lamp is dim"')["exit"] == 0
    return call


def code(got: dict[str, Any]) -> str:
    assert got["exit"] == 2
    assert got["problems"][0]["remedy"]
    return str(got["problems"][0]["code"])


def test_a_photograph_goes_in_and_comes_back(job: Call) -> None:
    (id,) = job('job attach gate joint.png "green at the eye"')["added"]
    (kept,) = job("job show gate")["state"]["files"]
    assert (kept["media"], kept["name"], kept["text"]) == ("image/png", "joint.png", "green at the eye")
    assert code(job("job fetch gate joint.png")) == "file-exists"
    assert job(f"job fetch gate {id[:6]} back.png")["exit"] == 0
    assert Path("back.png").read_bytes() == Path("joint.png").read_bytes()
    assert [h["job"] for h in job('job search "green eyes"')["hits"]] == ["gate"]
    job(f"job undo gate {id}")
    assert job("job show gate")["state"]["files"] == []
    assert job('job search "green eyes"')["hits"] == []
    assert code(job("job fetch gate joint.png x")) == "no-such-file"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("job attach gate nothing.png", "no-such-file"),
        ("job attach gate .", "not-a-file"),
        ("job attach gate", "usage"),
        ("job attach nobody joint.png", "no-such-job"),
        ("job fetch gate zzz", "no-such-file"),
        ("job import other joint.png", "not-a-job"),
        ("job import other nothing", "no-such-file"),
        ("job restore nothing", "no-such-file"),
        ("job restore joint.png", "not-a-store"),
        ("job backup gate.sheet", "file-exists"),
        ("job export gate /nowhere/x", "cannot-write"),
        ("job again gate", "usage"),
        ("job again gate gate", "job-exists"),
        ("job again nobody gate-2", "no-such-job"),
        ('job search "what was it"', "usage"),
        ("job people A king", "bad-role"),
        ("job sheet gate", "usage"),
    ],
)
def test_what_cannot_be_done_is_said(job: Call, line: str, expected: str) -> None:
    assert code(job(line)) == expected


def test_an_empty_file_is_not_attached(job: Call) -> None:
    Path("empty").touch()
    assert code(job("job attach gate empty")) == "empty-file"


def test_a_job_with_files_goes_to_another_machine(job: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    assert '"amptrail-job": 2' in job("job export gate")["text"]
    job("job attach gate joint.png")
    assert code(job("job export gate")) == "usage"
    job("job export gate gate.job")
    job("job backup all.sqlite")
    before = job("job show gate")["entries"]
    monkeypatch.setenv("AMPTRAIL_STORE", "other.sqlite")
    assert job("job import gate gate.job")["entries"] == before
    assert "already" in job("job import gate gate.job")["text"]
    monkeypatch.setenv("AMPTRAIL_STORE", "third.sqlite")
    assert "1 jobs and 3 entries" in job("job restore all.sqlite")["text"]
    assert job("job show gate")["entries"] == before
    monkeypatch.setenv("AMPTRAIL_STORE", "all.sqlite")  # a backup is a log
    assert job("job show gate")["entries"] == before


def test_a_pencil_sheet_is_typed_in_at_once(job: Call) -> None:
    rows = ("# in the rain", "A.in in running meter 13.9 V", "", "A.out in running meter 0.1 V  # dim")
    Path("p.txt").write_text("\n".join(rows))
    assert job("job add gate @p.txt --id p")["added"] == ["p.0", "p.1"]
    assert job("job add gate @p.txt --id p")["added"] == []  # sent twice
    lines = [r["line"] for r in job("job show gate")["state"]["readings"]]
    assert lines == ["A.in in running meter 13.9 V", "A.out in running meter 0.1 V  # dim"]
    Path("q.txt").write_text("A.in in running meter 13.8 V\nA.in in runing meter 13.8 V\n")
    got = job("job add gate @q.txt")
    assert (code(got), got["problems"][0]["line"]) == ("unknown-phase", 2)
    assert len(job("job show gate")["state"]["readings"]) == 2  # all or nothing
    assert code(job("job add gate @nothing.txt")) == "no-such-file"


def test_who_entered_what(job: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    assert code(job("job people B office")) == "not-allowed"
    job('job people "A. Sample"')
    assert code(job('job note gate "wet"')) == "who"
    assert job('job note gate "wet" --by "A. Sample"')["entries"][-1]["by"] == "A. Sample"
    assert code(job("job people B office")) == "not-allowed"
    monkeypatch.setenv("AMPTRAIL_BY", "A. Sample")
    assert [p["role"] for p in job("job people B office")["people"]] == ["technician", "office"]
    assert code(job('job people "A. Sample" gone')) == "not-allowed"
    assert code(job('job add gate "BAT.+ in running meter 12 V" --by B')) == "not-allowed"
    assert code(job("job import gate gate.sheet --by B")) == "not-allowed"
    assert job("job time gate 'call 5' --by B")["exit"] == 0


def test_two_people_change_the_drawing(job: Call) -> None:
    """The second does not overwrite what the first drew: the change is refused until it was looked at."""
    base = job("job show gate")["entries"][-1]["id"]
    Path("gate.sheet").write_text(SHEET + "lamp B 12 V 5 W at tail\npath F1.out -- B -- G1\n")
    first = job(f"job sheet gate gate.sheet --base {base}")
    assert "lamp B" in first["state"]["sheet"]
    Path("gate.sheet").write_text(SHEET + "# my word\n")
    assert code(job(f"job sheet gate gate.sheet --base {base}")) == "sheet-changed"
    assert "lamp B" in job("job show gate")["state"]["sheet"]
    assert "my word" in job(f"job sheet gate gate.sheet --base {first['added'][0]}")["state"]["sheet"]


def test_a_drawing_that_lost_a_point_somebody_read(job: Call) -> None:
    assert job('job add gate "A.in in running meter 12.1 V"')["exit"] == 0
    Path("gate.sheet").write_text(SHEET.replace("lamp A", "lamp C").replace("-- A --", "-- C --"))
    got = job("job sheet gate gate.sheet")
    assert got["exit"] == 2
    assert "lamp A" in job("job show gate")["state"]["sheet"]


def test_a_comeback_starts_as_the_vehicle_was_left(job: Call) -> None:
    job('job conclude gate "G1 resistance" --cause "water"')
    job('job done gate "new eye"')
    job('job fit gate "from BAT.+ to A.in fuse 5 A wire 1 mm2 3 m" --anyway --until Friday')
    job('job set gate "vehicle=the old sprayer; battery_ah=74"')
    job("job close gate")
    job('job note gate "said after closing"')
    got = job('job again gate gate-2 --complaint "dim again"')
    assert got["job"] == "gate-2"
    s = got["state"]
    assert s["complaint"] == "dim again"
    assert "from BAT.+ to A.in" in s["sheet"]
    assert [f["name"] for f in s["feeds"]] == ["J1"]
    assert s["facts"]["vehicle"] == "the old sprayer"
    assert s["facts"]["comeback"]["job"] == "gate"
    assert s["facts"]["comeback"]["conclusion"] == "G1 resistance"
    assert s["facts"]["comeback"]["done"] == ["new eye"]
    assert [r["line"] for r in s["readings"]] == ['worked on G1 "repaired in job gate: G1 resistance"']
    assert not s["closed"]
    assert "J1" in job("notice gate-2")["text"]


def test_a_clock_that_was_set_back(job: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    job('job add gate "BAT.+ in running meter 13.9 V" --id a')
    monkeypatch.setattr(joblog, "now", lambda: datetime.now(UTC) - timedelta(hours=3))
    got = job('job add gate "A.in in running meter 13.7 V" --id b')
    assert "180 min behind" in got["text"]
    assert [r["id"] for r in got["state"]["readings"]] == ["a", "b"]


def test_a_request_brings_its_files_and_leaves_the_disk_alone(job: Call, tmp_path: Path) -> None:
    before = sorted(p.name for p in tmp_path.iterdir())

    def ask(*argv: str) -> dict[str, Any]:
        request = {"id": 1, "argv": ["job", *argv], "files": {"n.txt": "what the phone noted"}}
        return dict(next(iter(answers([json.dumps(request)]))))

    assert ask("attach", "gate", "n.txt")["exit"] == 0
    assert code(ask("export", "gate", "out.job")) == "no-disk"
    assert code(ask("fetch", "gate", "n.txt", "out.txt")) == "no-disk"
    assert code(ask("backup", "out.sqlite")) == "no-disk"
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_a_request_reads_no_file_it_did_not_bring(job: Call) -> None:
    """Sealed, for requests of somebody else: only what it brings is read."""

    def ask(*argv: str, files: dict[str, Any] | None = None, sealed: bool = True) -> dict[str, Any]:
        return dict(next(iter(answers([json.dumps({"id": 1, "argv": argv, "files": files or {}})], sealed))))

    job("job export gate whole.job")
    job("job backup all.sqlite")
    for argv in (
        ("check", "gate.sheet"),
        ("recording", "joint.png"),
        ("job", "attach", "gate", "joint.png"),
        ("job", "import", "other", "whole.job"),
        ("job", "restore", "all.sqlite"),
    ):
        got = ask(*argv, files={"other": "text"})
        assert code(got) == ("sealed" if argv[0] == "job" else "no-such-file"), argv
    assert job("job show gate")["state"]["files"] == []
    assert ask("check", "gate.sheet", sealed=False)["exit"] == 0
    assert ask("job", "attach", "gate", "joint.png", sealed=False)["exit"] == 0
    (kept,) = job("job show gate")["state"]["files"]
    assert kept["size"] == Path("joint.png").stat().st_size


def test_a_sealed_request_has_no_jobs(job: Call) -> None:
    def ask(*argv: str) -> dict[str, Any]:
        files = {"gate.sheet": Path("gate.sheet").read_text()}
        return dict(next(iter(answers([json.dumps({"id": 1, "argv": argv, "files": files})], True))))

    for argv in (("list",), ("show", "gate"), ("new", "mine", "gate.sheet", "it is dead")):
        assert code(ask("job", *argv)) == "sealed", argv
    assert ask("check", "gate.sheet")["exit"] == 0
    assert job("job list")["jobs"] == ["gate"]


def test_files_of_two_folders_may_end_alike() -> None:
    brought = Files({"before/a.csv": "1", "after/a.csv": "2", "..": "3"})
    paths = [brought.on_disk(name) for name in ("before/a.csv", "after/a.csv", "..")]
    assert [p.read_text() for p in paths] == ["1", "2", "3"]
    assert [p.name for p in paths[:2]] == ["a.csv", "a.csv"]
    brought.done()
    assert not any(p.exists() for p in paths)


def test_a_request_brings_what_is_no_text(job: Call) -> None:
    photo = b64encode(Path("joint.png").read_bytes()).decode()

    def ask(content: Any) -> dict[str, Any]:
        request = {"id": 1, "argv": ["job", "attach", "gate", "a.png"], "files": {"a.png": content}}
        return dict(next(iter(answers([json.dumps(request)]))))

    assert ask({"base64": photo})["exit"] == 0
    (kept,) = job("job show gate")["state"]["files"]
    assert (kept["media"], kept["size"]) == ("image/png", Path("joint.png").stat().st_size)
    for bad in (7, None, {"base64": "?"}, {"base64": 3}, {"text": "a"}, ["a"]):
        assert code(ask(bad)) == "bad-request"


def test_a_damaged_log_is_said(job: Call, tmp_path: Path) -> None:
    file = tmp_path / "home" / "jobs.sqlite"
    sqlite3.connect(file).execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    file.write_bytes(file.read_bytes()[:5000])
    assert code(job("job show gate")) in ("store-damaged", "not-a-store")
