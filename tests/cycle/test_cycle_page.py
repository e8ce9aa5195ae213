"""docs/cycle.md: its commands run, its drawing is the one printed, its numbers are the program's."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from amptrail.cli.main import main
from amptrail.cycle import pace, tours
from amptrail.cycle.story import BATTERY_OFF_S, CRANK_ABORTED_S, KEY_LEFT_ON_S, NAMED, RESTART_AFTER_S
from amptrail.reference.cranking import FALL_S, HOLD_S, RISE_S, levels

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "cycle.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)[0].splitlines()


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_of_the_page(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demos").symlink_to(ROOT / "demos")
    monkeypatch.setenv("COLUMNS", "80")
    assert main(shlex.split(line)[1:]) == 0
    assert capsys.readouterr().out.strip()


def test_the_drawing_of_the_page(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "80")
    command, _, printed = re.findall(r"```console\n\$ (.*?)```", PAGE, re.DOTALL)[0].partition("\n")
    assert main(shlex.split(command)[1:]) == 0
    told = [x.rstrip() for x in capsys.readouterr().out.strip().splitlines()]
    assert told == [x.rstrip() for x in printed.strip().splitlines()]


def test_the_numbers_of_the_page() -> None:
    normal = pace.NORMAL
    share = next(x.depth for x in levels() if x.name == normal.dip)
    for words in (
        f"| L/R of a coil | {pace.COIL_S * 1e3:g} ms |",
        f"| plunger of a starter | {pace.STARTER_S * 1e3:g} ms |",
        f"every {normal.sample_s * 1e3:g} ms",
        f"lives on | {normal.ride_s * 1e3:g} ms |",
        f"boots in | {normal.boot_s * 1e3:g} ms |",
        f"lost in {pace.COOLS_S:g} s",
        f"to {share:.0%}".replace("%", " %"),
        f"fall {FALL_S * 1e3:g} ms, hold {HOLD_S * 1e3:g} ms, rise {RISE_S * 1e3:g} ms",
        f"level {normal.dip} ",
        f"within | {tours.BUZZ_S * 1e3:g} ms |",
        f"off for {RESTART_AFTER_S:g} s",
        f"to start for {CRANK_ABORTED_S:g} s, back to on for {KEY_LEFT_ON_S:g} s",
        f"off for {BATTERY_OFF_S:g} s",
    ):
        assert words in PAGE, words
    assert normal.fuse == 0.5  # half way by ratio
    assert all(f"`{name}`" in PAGE for name in NAMED)
