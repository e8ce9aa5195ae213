"""What the solver had to do is told on request, beside the answer and not in it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from amptrail.cli.main import main

SHEET = "battery BAT 12.6 V 10 mohm\nlamp L1 12 V 5 W\npath BAT.+ -- L1 -- BAT.-\n"


def test_counts_are_told_on_standard_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "lamp.sheet"
    sheet.write_text(SHEET, encoding="utf-8")
    readings = tmp_path / "lamp.readings"
    readings.write_text("L1.in in ignition-on meter 12.5 V\n", encoding="utf-8")
    assert main(["suspects", str(sheet), str(readings), "--json", "--verbose"]) == 0
    said = capsys.readouterr()
    json.loads(said.out)
    words = said.err.strip().splitlines()[-1]
    assert "cold restarts" in words and "line searches" in words and "without an answer" in words
    assert main(["suspects", str(sheet), str(readings), "--json"]) == 0
    assert "cold restarts" not in capsys.readouterr().err
