"""docs/jobs.md: its lines run, in their order, on an empty log."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from amptrail.cli.main import main

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "jobs.md").read_text(encoding="utf-8")
LINES = [x for block in re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL) for x in block.splitlines()]


def test_the_job_of_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.chdir(ROOT)
    shown = {}
    for line in LINES:
        words = shlex.split(line)[1:]
        assert main(words) == 0, (line, capsys.readouterr().err)
        shown[line] = capsys.readouterr().out
    assert "8 times of 10" in shown["amptrail quote gate"]
    assert "G2" in shown["amptrail suspects gate"]
    found = shown["amptrail findings gate"]
    for words in (
        "the tank runs over onto the joint",
        "joint cleaned, new eye, sealed",
        "still drips",
        "A. Sample",
    ):
        assert words in found
    assert "NOT PROVEN" not in found
    assert "EUR" in shown["amptrail slip gate"]
    assert "closed" in shown["amptrail job show gate"]
