"""Lines within 80 columns: answers, and what is wrong with an input."""

from __future__ import annotations

import pytest

from amptrail.cli import main as front
from amptrail.cli.fold import fold, folded
from amptrail.cli.main import main


def test_a_long_line_hangs_two_further_in_and_a_short_one_stays() -> None:
    line = "  " + "a word and " * 12
    first, *more = fold(line)
    assert first.startswith("  a") and all(x.startswith(("    a", "    w")) for x in more)
    assert " ".join(" ".join((first, *more)).split()) == " ".join(line.split())
    assert fold("    | label  with  room") == ["    | label  with  room"]


def test_a_word_is_never_broken() -> None:
    path = "/".join(["folder"] * 20)
    assert path in folded(f"keep it in {path} now").split("\n")[1]


def test_what_is_wrong_is_told_within_the_width(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["suspects", "demos/sprayer.shet"]) == 2
    told = capsys.readouterr().err
    assert told and all(len(x) <= 80 for x in told.splitlines())


@pytest.mark.parametrize("name", ["next", "job", "paper", "convert", "suspects"])
def test_help_cuts_no_word_at_80_columns(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert main([name, "--help"]) == 0
    told = capsys.readouterr().out
    assert "…" not in told and "[[" not in told
    assert all(len(x) <= 80 for x in told.splitlines())


def test_ctrl_c_says_stopped_and_nothing_of_the_insides(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(argv: list[str]) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(front, "main", stopped)
    with pytest.raises(SystemExit) as e:
        front.run()
    assert e.value.code == 130
    assert capsys.readouterr().err.strip() == "stopped"
