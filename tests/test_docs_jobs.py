"""docs/jobs.md: its lines run, in their order, on an empty log."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.main import main

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "jobs.md").read_text(encoding="utf-8")
LINES = [x for block in re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL) for x in block.splitlines()]


def test_the_job_of_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path / "home"))
    for name in ("AMPTRAIL_STORE", "AMPTRAIL_BY"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / "demos").symlink_to(ROOT / "demos")
    monkeypatch.chdir(tmp_path)
    shown = {}
    for line in LINES:
        words = shlex.split(line)[1:]
        told_no = words[0] == "condemn"  # not proven yet: the answer is no
        assert main(words) == (1 if told_no else 0), (line, capsys.readouterr().err)
        shown[line] = capsys.readouterr().out

    def said(line: str) -> str:
        return " ".join(next(text for x, text in shown.items() if x.startswith(f"amptrail {line}")).split())

    assert "8 times of 10" in said("quote gate")
    assert "G2" in said("suspects gate")
    assert "NOT PROVEN" not in said("findings gate")
    assert "the tank runs over onto the joint" in said("findings gate")
    assert "EUR" in said("slip gate")
    assert "TEMPORARY J1" in said("label gate")
    notice = said("notice gate")
    for words in ("PUMP.out", "W11; W12", "Friday", "Everything still switches off with the key", "the shop"):
        assert words in notice, words
    bill = said("invoice gate")
    # by hand, at 95.00: drive 40 min 63.33; 30 of 35 min of tests, as agreed, 47.50; repair 25 min 39.58; two
    # eyes 4.80; together 155.21, 19 % of it 29.49
    beyond = "5 min of looking for the cause beyond the 30 min agreed are not charged"
    sums = ("63.33 EUR", "47.50 EUR", "39.58 EUR", "4.80 EUR", "155.21 EUR", "29.49 EUR", "184.70 EUR")
    for words in (*sums, beyond, "The orchard"):
        assert words in bill, (words, bill)
    for line in ("findings.html", "notice.pdf", "label.pdf", "invoice.pdf", "pencil.pdf", "gate.job"):
        assert (tmp_path / line).stat().st_size > 1000
    assert "Ursache" in (tmp_path / "findings.html").read_text()
    shut = said("job show gate")
    for words in ("closed", "taken out again", "joint cleaned, new eye, sealed", "still drips"):
        assert words in shut
    assert "G2 resistance" in said("job search")
    assert "everything was there already" in said("job restore")
    assert "B. Office: office" in shown["amptrail job people"]


def test_the_next_job_starts_with_better_suspects(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a closed job proved is likelier in the next job on the same kind of circuit, and back where it was
    when nobody asks for history."""
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.chdir(ROOT)

    def ask(*argv: str) -> dict[str, Any]:
        assert main([*argv, "--json"]) == 0
        return dict(json.loads(capsys.readouterr().out))

    def share(*more: str) -> float:
        rows = ask("suspects", "barn", *more)["suspects"]
        return sum(r["probability"] for r in rows if "G2" in r["text"])

    for words in (
        ("job", "new", "gate", "demos/sprayer.sheet"), ("job", "conclude", "gate", "G2 resistance"),
        ("job", "close", "gate"), ("job", "new", "barn", "demos/sprayer.sheet"),
        ("job", "add", "barn", "PUMP in ignition-on does not work"),
    ):  # fmt: skip
        ask(*words)
    assert share("--history") > share() > 0
