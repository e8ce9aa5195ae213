"""docs/study.md: its lines run, in their order; the second of two does nothing anew."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from amptrail.cli.main import main

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "study.md").read_text(encoding="utf-8")
LINES = [x for block in re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL) for x in block.splitlines()]


def test_the_lines_of_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "demos" / "first", tmp_path / "demos" / "first")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("AMPTRAIL_THREADS", "1")  # in this process: the processes are tested beside
    shown = []
    for line in LINES:
        assert main(shlex.split(line)[1:]) == 0, (line, capsys.readouterr().err)
        shown.append(capsys.readouterr().out)
    assert len(LINES) == 3
    assert "told apart" in shown[0]
    assert "min to a proven cause" in shown[0]
    assert "done before" not in shown[1]
    assert "2 studied, 2 of them done before, 0 not" in shown[2]
    tables = {p.name for p in (tmp_path / "study").iterdir()}
    assert {"sheets", "faults", "groups", "matter", "functions"} <= tables
