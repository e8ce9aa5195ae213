"""A hidden fault: the same for a seed, told only at the end, priced like the plan, judged by place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from amptrail.errors import InputError
from amptrail.jobs.practise.practice import PracticeOptions, hide, practice
from amptrail.sheet import fault_text, parse

SHEET = (Path(__file__).parents[2] / "demos" / "blower.sheet").read_text(encoding="utf-8")
CIRCUIT = parse(SHEET)
SEED = 3
TRIES = "speed-four in speed4 ?\nF_IGN.out in speed1 meter ?\nF_BLOW.out in speed1 lamp ?\n"


def test_a_seed_hides_the_same_fault_every_time_and_seeds_differ() -> None:
    faults = {fault_text(CIRCUIT, hide(CIRCUIT, n)[0]) for n in range(6)}
    assert len(faults) > 3
    assert hide(CIRCUIT, SEED) == hide(CIRCUIT, SEED)


def test_nothing_is_told_before_the_end() -> None:
    hidden, complaint = hide(CIRCUIT, SEED)
    got = practice(SHEET, PracticeOptions(SEED, TRIES))
    assert got["complaint"] == complaint.strip()
    assert (got["ended"], got["hidden"], got["plan"], got["score"]) == (False, None, None, None)
    assert fault_text(CIRCUIT, hidden) not in json.dumps(got)
    assert [t["asked"] for t in got["tries"]] == TRIES.splitlines()
    assert got["minutes_min"] == pytest.approx(sum(t["minutes_min"] for t in got["tries"]))
    assert all("?" not in t["read"] and t["minutes_min"] > 0 for t in got["tries"])


def test_found_and_judged_beside_the_plan() -> None:
    hidden, _ = hide(CIRCUIT, SEED)
    got = practice(SHEET, PracticeOptions(SEED, TRIES + f"it is {fault_text(CIRCUIT, hidden)}\n"))
    assert (got["ended"], got["right"], got["exit"]) == (True, True, 0)
    assert got["hidden"] == fault_text(CIRCUIT, hidden)
    assert got["score"] == round(got["plan"]["minutes_min"] / got["minutes_min"], 2)
    assert all(t["better"] for t in got["tries"])
    assert got["hidden"] in got["text"]


def test_what_is_wrong_scores_nothing() -> None:
    got = practice(SHEET, PracticeOptions(SEED, "it is PANEL open\n"))
    assert (got["right"], got["score"], got["exit"]) == (False, 0.0, 1)
    assert practice(SHEET, PracticeOptions(SEED, "give up\n"))["told"] == "given up"


@pytest.mark.parametrize(
    ("tries", "code", "line"),
    [
        ("F_IGN.out in speed1 meter\n", "no-question", 1),
        ("\nNOBODY.1 in speed1 meter ?\n", "no-answer", 2),
        ("it is PANEL melted\n", "fault", 1),
    ],
)
def test_a_try_that_is_none_names_its_line_and_a_remedy(tries: str, code: str, line: int) -> None:
    with pytest.raises(InputError) as e:
        practice(SHEET, PracticeOptions(SEED, tries))
    p = e.value.problems[0]
    assert p.line == line
    assert p.remedy
    assert code in (p.code, "fault") or p.code


def test_a_circuit_on_which_nothing_shows_is_refused() -> None:
    with pytest.raises(InputError) as e:
        hide(parse("battery BAT 12 V\nlamp L 12 V 5 W\npath BAT.+ -- L -- BAT.-\n"), 0)
    assert e.value.problems[0].code == "nothing-to-hide"
