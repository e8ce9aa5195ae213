"""What is kept between questions changes no answer, is used, and stays within its bound."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from amptrail.jobs.base.kept import Kept
from amptrail.jobs.judging import suspects
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.session import Session
from amptrail.sheet import parse

DEMOS = Path(__file__).parents[2] / "demos" / "first"
SHEET = (DEMOS / "lamp.sheet").read_text(encoding="utf-8")
READINGS = (DEMOS / "lamp.readings").read_text(encoding="utf-8")


def ask(readings: str) -> str:
    """Both answers as text."""
    return json.dumps([suspects.suspects(SHEET, readings), next_tests(SHEET, readings)])


def forget() -> None:
    solving.SOLVED.clear()
    suspects.JUDGED.clear()


def test_the_same_answers_with_and_without() -> None:
    forget()
    fresh = ask(READINGS)
    assert ask(READINGS) == fresh
    lines = READINGS.strip().splitlines()
    ask("\n".join(lines[:-1]))
    assert ask(READINGS) == fresh
    forget()
    assert ask(READINGS) == fresh


def test_the_lanes_of_single_faults_are_run_once_and_readings_weighed_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    forget()
    runs: list[int] = []
    plain = Session.run

    def counted(self: Session, lanes: Any, *more: Any) -> Any:
        runs.append(len(lanes))
        return plain(self, lanes, *more)

    monkeypatch.setattr(Session, "run", counted)
    ask(READINGS)
    most = max(runs)
    weighed: list[int] = []
    weigh = suspects.weigh
    monkeypatch.setattr(suspects, "weigh", lambda *a: (weighed.append(1), weigh(*a))[1])
    ask(READINGS + "\n# another reading would stand here\n")
    assert runs.count(most) == 1  # every severity of every single fault
    assert len(weighed) == 1


def test_the_least_lately_used_goes_first_and_the_bound_holds() -> None:
    kept: Kept[str] = Kept(10, len)
    assert kept.put("a", "xxxx") == "xxxx"
    kept.put("b", "yyyy")
    assert kept.get("a") == "xxxx"
    kept.put("c", "zzzz")
    assert kept.get("b") is None and kept.get("a") and kept.get("c")
    assert kept.total <= 10
    assert kept.put("huge", "x" * 11) == "x" * 11
    assert kept.get("huge") is None and kept.get("c") == "zzzz"


def test_judgements_are_kept_by_what_they_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    forget()
    circuit = parse(SHEET)
    first = suspects.judge(circuit, READINGS)
    size = first.post.nbytes
    arrays = [h.prediction.mean for h in first.post.table.hypotheses]
    assert size > sum(a.nbytes for a in arrays) > 0
    assert suspects.JUDGED.total == size
    monkeypatch.setattr(suspects.JUDGED, "most", int(1.5 * size))
    assert suspects.judge(circuit, READINGS) is first
    suspects.judge(circuit, READINGS + "# a second answer of the same size\n")
    assert suspects.JUDGED.total <= 1.5 * size
    assert suspects.judge(circuit, READINGS) is not first
    forget()
