"""The command line itself: one object on stdout, the exit codes, the lazy start, the job."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from schemas import FILES, ROOT, validate

from amptrail.cli import app, dispatch
from amptrail.cli.batch import answers
from amptrail.cli.files import Files
from amptrail.cli.main import main

LAMP = ROOT / "demos" / "first" / "lamp.sheet"
READINGS = ROOT / "demos" / "first" / "lamp.readings"


@pytest.fixture(autouse=True)
def home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """No test sees the user's own jobs."""
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, dict[str, Any]]:
    status = main([*argv, "--json"])
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    got = json.loads(out)
    assert got["exit"] == status
    validate(got, got["command"] if got["command"] else "common")
    return status, got


def test_check_and_its_envelope(capsys: pytest.CaptureFixture[str]) -> None:
    status, got = run(capsys, "check", str(LAMP))
    assert status == 0
    assert {"BAT", "F1", "WORK"} <= {p["name"] for p in got["parts"]}


@pytest.mark.parametrize(
    ("argv", "code", "nearest"),
    [
        (["chek", "x"], "unknown-command", "check"),
        ([], "unknown-command", None),
        (["check"], "usage", None),
        (["check", "nowhere.sheet"], "no-such-file", None),
        (["check", str(LAMP), "--nonsense"], "usage", None),
        (["check", str(LAMP.parent)], "not-a-file", None),
        (["expect", str(LAMP), "--phase", "ignition"], "unknown-phase", "ignition-on"),
        (["expect", str(LAMP), "--cycles", "x"], "usage", None),
        (["job", "show", "nobody"], "no-such-job", None),
        (["suspects", "nobody"], "no-such-job", None),
    ],
)
def test_wrong_input_is_one_object_and_exit_2(
    capsys: pytest.CaptureFixture[str], argv: list[str], code: str, nearest: str | None
) -> None:
    status, got = run(capsys, *argv) if argv else (2, dispatch.answer([], Files()))
    assert status == got["exit"] == 2
    assert (got["problems"][0]["code"], got["problems"][0]["nearest"]) == (code, nearest)


def test_a_fault_of_the_program_is_70(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(*_: object) -> dict[str, Any]:
        raise ZeroDivisionError("oh")

    monkeypatch.setattr("amptrail.jobs.check.check", breaks)
    status, got = run(capsys, "check", str(LAMP))
    assert status == 70
    assert got["problems"][0]["code"] == "internal"
    assert "Traceback" not in json.dumps(got)


@pytest.mark.parametrize("noise", [b"", b"\0\xff\xfe", b"\xff" * 50, b"[" * 5000, b"path " * 2000])
@pytest.mark.parametrize("command", ["check", "convert"])
def test_noise_never_breaks_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, noise: bytes, command: str
) -> None:
    (tmp_path / "x.sheet").write_bytes(noise)
    status, got = run(capsys, command, str(tmp_path / "x.sheet"))
    assert status in (0, 2), got["problems"]


def test_people_get_problems_on_stderr(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "nowhere.sheet"]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert "do this:" in out.err


def test_tables_fit_80_columns(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    for argv in (["check", str(LAMP)], ["expect", str(LAMP)], ["cycle", str(LAMP)],
                 ["suspects", str(LAMP), str(READINGS)],
                 ["next", str(LAMP), str(READINGS)], ["findings", str(LAMP), str(READINGS)],
                 ["size", "--amps", "12", "--length", "4"]):  # fmt: skip
        assert main(argv) == 0
        out = capsys.readouterr().out
        assert out.strip()
        assert max(len(line) for line in out.splitlines()) <= 80, argv


@pytest.mark.parametrize("command", sorted(app.group().commands))
def test_help_teaches_with_an_example(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert main([command, "--help"]) == 0
    assert f"Example: amptrail {command}" in capsys.readouterr().out
    assert main(["--help"]) == 0
    assert f" {command} " in capsys.readouterr().out


def test_check_starts_without_solver_and_database() -> None:
    code = (
        "import sys; from amptrail.cli.main import main; main(['check', sys.argv[1], '--json']);"
        "print([m for m in ('numba', 'scipy', 'sqlalchemy', 'alembic') if m in sys.modules], file=sys.stderr)"
    )
    got = subprocess.run([sys.executable, "-c", code, str(LAMP)], capture_output=True, text=True, check=True)
    assert got.stderr.strip() == "[]"


# ---- batch
def test_batch_answers_in_order_and_survives_everything() -> None:
    files = {"a.sheet": LAMP.read_text(encoding="utf-8")}
    lines = [
        json.dumps({"id": 1, "argv": ["check", "a.sheet"], "files": files}),
        "no json",
        '"text"',
        "",
        json.dumps({"id": "two", "argv": ["check", "--help"]}),
        json.dumps({"id": 3, "argv": ["check", "/etc/hostname"], "files": files}),
        json.dumps({"id": 4, "argv": ["amptrail", "check", "a.sheet", "--json"], "files": files}),
        json.dumps({"id": 5, "argv": ["demo"]}),
        "[" * 100_000,
    ]
    got = list(answers(lines))
    assert [g["id"] for g in got] == [1, None, None, "two", 3, 4, 5, None]
    assert [g["exit"] for g in got] == [0, 2, 2, 2, 2, 0, 2, 2]
    assert {k: v for k, v in got[0].items() if k != "id"} == {k: v for k, v in got[5].items() if k != "id"}
    for g in got:
        validate(g, g["command"] if g["command"] in FILES else "common")


def test_batch_from_standard_input(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    request = json.dumps({"id": 7, "argv": ["size", "--amps", "12", "--length", "4"]})
    monkeypatch.setattr(sys, "stdin", io.StringIO(request + "\n"))
    assert main(["batch"]) == 0
    assert json.loads(capsys.readouterr().out)["id"] == 7


def test_batch_survives_what_no_text_and_no_number_can_be(
    capsysbinary: pytest.CaptureFixture[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One bad line must not take the thousands behind it with it, and keeps its id where it has one."""
    text = "battery BAT\nlamp L # \u2028 \x85\npath BAT.+ -- L -- BAT.-\n"
    lines = [
        b'{"id":NaN,"argv":["check","s"]}',
        b'{"id":1e999,"argv":["check","s"]}',
        b'{"id":3,"argv":"check"}',
        b'{"id":"\\ud800","argv":["check","s"],"files":{"s":"battery BAT\\nlamp \\udc00"}}',
        b'{"id":4,"argv":["check","\\u0000"]}',
        b'{"id":5,"argv":["check","\xff\xfe"]}',
        json.dumps(
            {"id": 6, "argv": ["check", "s", "--verbose"], "files": {"s": text}}, ensure_ascii=False
        ).encode(),
    ]
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"\n".join(lines) + b"\n")))
    assert main(["batch"]) == 0
    got = [json.loads(x) for x in capsysbinary.readouterr().out.decode("utf-8").split("\n") if x]
    assert [g["id"] for g in got] == [None, None, 3, "\ud800", 4, 5, 6]
    assert [g["exit"] for g in got] == [2, 2, 2, 2, 2, 2, 0]


# ---- job
def test_a_job_from_complaint_to_next_test(capsys: pytest.CaptureFixture[str]) -> None:
    status, got = run(capsys, "job", "new", "loader", str(LAMP), "--complaint", "work lamp dark", "--id", "n")
    assert (status, got["added"]) == (0, ["n.intake", "n.sheet"])
    _, got = run(capsys, "job", "new", "loader", str(LAMP), "--complaint", "work lamp dark", "--id", "n")
    assert got["added"] == []
    for n, line in enumerate(READINGS.read_text(encoding="utf-8").splitlines()):
        run(capsys, "job", "add", "loader", line, "--id", f"r{n}")
    _, got = run(capsys, "job", "show", "loader")
    assert [r["line"] for r in got["state"]["readings"]] == READINGS.read_text(encoding="utf-8").splitlines()
    _, from_job = run(capsys, "suspects", "loader")
    _, from_files = run(capsys, "suspects", str(LAMP), str(READINGS))
    assert from_job == from_files


def test_undo_walks_back_and_bad_lines_are_not_kept(capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "job", "new", "loader", str(LAMP))
    run(capsys, "job", "add", "loader", "battery 12.6 V", "--id", "a")
    run(capsys, "job", "add", "loader", "battery 12.5 V", "--id", "b")
    status, got = run(capsys, "job", "add", "loader", "LAMPP.in 12 V")
    assert status == 2 and got["problems"][0]["code"]
    assert [r["id"] for r in run(capsys, "job", "show", "loader")[1]["state"]["readings"]] == ["a", "b"]
    assert run(capsys, "job", "undo", "loader", "nothing")[1]["problems"][0]["code"] == "no-such-entry"
    for left in (["a"], []):
        _, got = run(capsys, "job", "undo", "loader")
        assert [r["id"] for r in got["state"]["readings"]] == left


def test_undo_without_a_reading_spares_the_sheet(capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "job", "new", "loader", str(LAMP), "--id", "first")
    status, got = run(capsys, "job", "undo", "loader")
    assert (status, got["problems"][0]["code"]) == (2, "nothing-to-undo")
    _, got = run(capsys, "job", "undo", "loader", "first")  # the beginning of an id is enough
    assert got["state"]["sheet"] is None
    assert [e["undone"] for e in got["entries"]] == [True, False]


def test_export_and_import(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    run(capsys, "job", "new", "loader", str(LAMP), "--complaint", "dark")
    _, got = run(capsys, "job", "export", "loader")
    (tmp_path / "e.json").write_text(got["text"], encoding="utf-8")
    _, copy = run(capsys, "job", "import", "copy", str(tmp_path / "e.json"))
    assert copy["entries"] == got["entries"]
    assert run(capsys, "job", "list")[1]["jobs"] == ["loader", "copy"]


def test_a_file_that_is_no_log_is_said(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    home.mkdir()
    (home / "jobs.sqlite").write_text("dear customer " * 200)
    status, got = run(capsys, "job", "list")
    assert (status, got["problems"][0]["code"]) == (2, "not-a-store")
