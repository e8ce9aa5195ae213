"""A part declared like another lends its readings: what the left one reads, the right one should."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.phases import drive_cycle
from amptrail.errors import InputError
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.judging.twins import alike, lent
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import observations
from amptrail.jobs.solved.spots import spot
from amptrail.sheet import parse, print_sheet

TRAILER = (Path(__file__).parents[2] / "demos" / "trailer.sheet").read_text()
ALIKE = TRAILER.rstrip("\n") + "\nSTOP_R like STOP_L\nTAIL_R like TAIL_L\n"
READ = "battery 12.5 V\nSTOP_L.in in stop-only meter 11.9 V\n"


def candidate(point: str, instrument: str, phase: int) -> Candidate:
    return Candidate(spot(parse(ALIKE), point), instrument, phase, Conditions(), "rear", 1.0, "back-probe")


def test_the_line_of_the_sheet() -> None:
    c = parse(ALIKE)
    assert [(x.part, x.other) for x in c.likes] == [("STOP_R", "STOP_L"), ("TAIL_R", "TAIL_L")]
    assert parse(print_sheet(c)) == c
    assert alike(c, "STOP_L") == ("STOP_R",)
    three = parse(ALIKE + "PLATE like TAIL_R\n")
    assert set(alike(three, "TAIL_L")) == {"TAIL_R", "PLATE"}
    for bad in ("STOP_R like BAT", "STOP_R like STOP_R"):
        with pytest.raises(InputError, match="only two parts of one kind are alike") as e:
            parse(ALIKE + bad + "\n")
        assert "STOP_L" in e.value.problems[0].expected
    with pytest.raises(InputError, match="no part is called STOP_X"):
        parse(ALIKE + "STOP_R like STOP_X\n")


def test_what_the_left_one_read_is_told_at_the_right_one() -> None:
    c = parse(ALIKE)
    seen = observations(c, READ).used
    phase = seen[0].phase
    assert phase is not None
    got = lent(c, seen, candidate("STOP_R.in", "meter", phase))
    assert got is not None and (got["part"], got["line"]) == ("STOP_L", 2)
    assert got["words"] == "STOP_L, which is like STOP_R, reads 11.90 V: here it should be the same"
    assert lent(c, seen, candidate("STOP_R.out", "meter", phase)) is None  # nothing was read there
    assert lent(c, seen, candidate("STOP_R.in", "lamp", phase)) is None  # another instrument reads otherwise
    assert lent(c, seen, candidate("TAIL_R.in", "meter", phase)) is None  # its own twin was not read
    assert lent(parse(TRAILER), seen, candidate("STOP_R.in", "meter", phase)) is None


def test_left_while_left_is_asked_for_is_right_while_right_is() -> None:
    left = "phase left as ignition-on 20 s\n"
    text = TRAILER.replace(left, left + left.replace("left", "right"))
    text = text.replace("switch IND_R never closed", "switch IND_R closed in right")
    c = parse(text.rstrip("\n") + "\nTURN_R like TURN_L\n")
    seen = observations(c, "battery 12.5 V\nTURN_L.in in left meter 11.9 V\n").used
    phases = [p.name for p in drive_cycle(c)]
    here = candidate("TURN_R.in", "meter", phases.index("right"))
    assert lent(c, seen, here) is not None
    assert lent(c, seen, candidate("TURN_R.in", "meter", phases.index("left"))) is None


def test_it_stands_beside_the_test() -> None:
    text = "battery 12.5 V\nSTOP_R in stop-only is dark\nSTOP_L in tail_stop clamp 1.7 A\n"
    text += "STOP_L in tail_stop is bright\n"
    tests = [t for v in next_tests(ALIKE, text)["visits"] for t in v["tests"]]
    lending = {t["line"].split()[0] + " " + t["instrument"]: t for t in tests if t["twin"]}
    assert set(lending) == {"STOP_R clamp", "STOP_R eye"}
    assert "STOP_L, which is like STOP_R, reads 1.70 A" in lending["STOP_R clamp"]["why"]
    assert "STOP_L, which is like STOP_R, is bright" in lending["STOP_R eye"]["why"]
    assert not [t for v in next_tests(TRAILER, text)["visits"] for t in v["tests"] if t["twin"]]


def test_a_part_and_its_twin_may_change_places() -> None:
    text = "battery 12.5 V\nSTOP_R in stop-only is dark\nXT.6 in stop-only meter 12.2 V\n"
    plain = {t["action"] for v in next_tests(TRAILER, text)["visits"] for t in v["tests"]}
    tests = [t for v in next_tests(ALIKE, text)["visits"] for t in v["tests"]]
    assert "swap" not in plain
    assert all("replaced" in t["line"] for t in tests if t["action"] == "swap")
