"""A fault that comes and goes is waited for with the leads on, or brought about by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.main import main
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.provoking import MOST_TRIES, TRY_MIN, wait_min
from amptrail.jobs.solved.observe import Observation
from amptrail.web.views import card

SPRAYER = (Path(__file__).parent.parent.parent / "demos" / "sprayer.sheet").read_text(encoding="utf-8")
COMPLAINT = "PUMP in running works 7 of 10\n"


def _tests(readings: str, **options: Any) -> list[dict[str, Any]]:
    got = next_tests(SPRAYER, readings, NextOptions(**options))
    return [t for v in got["visits"] for t in v["tests"]]


def test_what_comes_and_goes_is_read_while_it_fails() -> None:
    told = _tests(COMPLAINT)
    read = [t for t in told if t["instrument"] in ("meter", "clamp", "lamp", "loaded")]
    assert read
    assert all(t["while"] == "failing" for t in read)
    assert all(t["line"].split("\n")[-1].endswith(" while failing") for t in read if not t["with"])
    steady = _tests("PUMP in running does not work\n")
    assert all(t["while"] is None and "while failing" not in t["line"] for t in steady)


def test_its_own_line_closes_the_loop_and_is_not_asked_again() -> None:
    first = next(t for t in _tests(COMPLAINT) if t["while"] and t["instrument"] == "clamp" and not t["with"])
    filled = first["line"].replace("{value}", "2.4 A")
    left = _tests(COMPLAINT + filled + "\n")
    assert first["line"] not in [t["line"] for t in left]
    at_work = first["line"].replace("{value}", "7.9 A").replace("failing", "working")
    assert first["line"] in [t["line"] for t in _tests(COMPLAINT + at_work + "\n")]


def test_the_likeliest_parts_are_moved_by_hand() -> None:
    moved = [t for t in _tests(COMPLAINT) if t["watch"]]
    assert moved
    one = moved[0]
    assert one["line"] == f"pump-runs in running {{value}} when {one['point']} moved"
    assert {o["words"] for o in one["outcomes"]} == {"jumps", "stays"}
    after = _tests(COMPLAINT + one["line"].replace("{value}", "stays") + "\n")
    assert one["line"] not in [t["line"] for t in after]
    assert not any(t["watch"] for t in _tests("PUMP in running does not work\n"))


def test_one_wait_serves_a_whole_visit() -> None:
    got = next_tests(SPRAYER, COMPLAINT)
    visit = next(v for v in got["visits"] if sum(t["while"] == "failing" for t in v["tests"]) > 1)
    waiting = [t for t in visit["tests"] if t["while"]]
    alone = sum(t["minutes_min"]["total"] for t in visit["tests"])
    saved = wait_min([Observation(1, "", "works", 2, good_of=(7, 10))]) * (len(waiting) - 1)
    assert visit["minutes_min"] == pytest.approx(alone - saved, abs=1e-6)


@pytest.mark.parametrize(
    ("counts", "tries"), [([(7, 10)], 11 / 3.5), ([(1, 2), (2, 4)], 7 / 3.5), ([], 2.0), ([(100, 100)], 10.0)]
)
def test_the_wait_is_as_long_as_the_tries_counted_say(counts: list[tuple[int, int]], tries: float) -> None:
    seen = [Observation(1, "", "works", 0, good_of=c) for c in counts]
    assert wait_min(seen) == pytest.approx(TRY_MIN * min(tries, MOST_TRIES))


def test_the_terminal_says_to_wait_and_what_to_move(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "s.sheet").write_text(SPRAYER, encoding="utf-8")
    (tmp_path / "s.readings").write_text(COMPLAINT, encoding="utf-8")
    assert main(["next", str(tmp_path / "s.sheet"), str(tmp_path / "s.readings")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "leads on first, then try until it fails, and read while it fails" in told
    assert "by hand and watch pump-runs" in told


def test_the_page_has_the_box_ticked_and_the_line_without_it() -> None:
    ask = {"question": "", "first": (), "where": "", "reached": "", "lead": "", "after": ()}
    one = next(t for t in _tests(COMPLAINT) if t["while"] == "failing")
    shown = card({**one, "ask": ask})
    assert shown.waits
    assert "while failing" not in shown.line


def test_what_is_moved_by_hand_carries_its_own_cautions() -> None:
    """A relay at the hot bulkhead while a pump in the tank well is watched."""
    moved = next(t for t in _tests(COMPLAINT) if t["watch"] and t["point"] == "K4")
    assert any(c.startswith("Hot place") for c in moved["cautions"])
