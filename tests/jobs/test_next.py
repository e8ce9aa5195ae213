"""`next` at the vehicle: nothing asked twice, a budget told when it ran out, always a whole answer."""

from __future__ import annotations

from pathlib import Path

from amptrail.jobs.judging.nexttest import OUT_OF_TIME, NextOptions, next_tests

FOLDER = Path(__file__).parents[2] / "demos"
SHEET = (FOLDER / "sprayer.sheet").read_text(encoding="utf-8")
READINGS = (FOLDER / "sprayer.readings").read_text(encoding="utf-8")


def _offered(readings: str) -> set[str]:
    got = next_tests(SHEET, readings, NextOptions(doubles="off"))
    return {t["line"] for v in got["visits"] for t in v["tests"]}


def test_what_was_answered_is_not_asked_again() -> None:
    first = _offered(READINGS)
    told = next(x for x in first if x.startswith("G2.1 in ignition-on meter"))
    after = _offered(READINGS + "\n" + told.replace("{value}", "6.9 V") + "\n")
    assert told not in after
    assert not [x for x in first | after if x.startswith("pump-runs in ignition-on")], (
        "PUMP does not work was told"
    )


def test_an_unsure_answer_may_be_asked_for_again() -> None:
    line = "pump-runs in ignition-on {value}"
    unsure = READINGS.replace("PUMP in ignition-on does not work", "PUMP in ignition-on does not work unsure")
    assert unsure != READINGS
    assert line in _offered(unsure)


def test_a_budget_too_short_is_said_and_the_answer_is_still_whole() -> None:
    got = next_tests(SHEET, READINGS, NextOptions(budget_ms=1))
    assert got["exit"] == OUT_OF_TIME
    assert got["visits"] and got["expected_min"] > 0
    assert next_tests(SHEET, READINGS, NextOptions(budget_ms=600_000, doubles="off"))["exit"] == 0
