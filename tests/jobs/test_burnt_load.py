"""A load burnt open has full volts and does nothing: a complaint about it must make it a suspect."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.jobs.judging.suspects import suspects

FIRST = Path(__file__).parents[2] / "demos" / "first"
SHEET = (FIRST / "alarm.sheet").read_text(encoding="utf-8")
FED = "battery 12.6 V\nREV in reverse works\nHORN.in in reverse meter 12.4 V\n"


def _chance(said: str, text: str) -> float:
    got = suspects(SHEET, FED + said)["suspects"]
    return float(sum(s["probability"] for s in got if s["text"] == text))


@pytest.mark.parametrize("said", ["HORN in reverse does not work", "HORN in reverse is dark"])
def test_a_burnt_load_explains_that_it_is_dead(said: str) -> None:
    assert _chance(said + "\n", "HORN open") > 0.05


def test_a_load_that_works_is_not_burnt() -> None:
    assert _chance("HORN in reverse works\n", "HORN open") < 0.005


def test_an_exchange_in_vain_clears_the_load() -> None:
    dead = "HORN in reverse does not work\n"
    assert _chance(dead + "HORN replaced, no change\n", "HORN open") < _chance(dead, "HORN open") / 5
