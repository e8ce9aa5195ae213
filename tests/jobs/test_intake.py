"""Questions for the phone: ranked by what they tell, each answer a line that is heard."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from amptrail.errors import InputError
from amptrail.jobs.evidence.beforehand import beforehand, singles, worked_factor
from amptrail.jobs.judging.intake import IntakeOptions, _tells, intake
from amptrail.jobs.judging.suspects import SuspectOptions, suspects
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse

DEMOS = Path(__file__).parents[2] / "demos"


@pytest.fixture(scope="module")
def sprayer() -> str:
    return (DEMOS / "sprayer.sheet").read_text()


def test_information_is_the_textbook_sum() -> None:
    # I(G; A) = sum p(g, a) log2 p(g, a) / (p(g) p(a)), written out by hand (Shannon 1948), on made-up tables
    rng = np.random.default_rng(5)
    belief = rng.dirichlet(np.ones(6))
    chance = rng.dirichlet(np.ones(3), size=6)
    group = np.asarray([0, 0, 1, 2, 2, 2])
    by_hand = 0.0
    for g in range(3):
        for a in range(3):
            both = sum(belief[h] * chance[h, a] for h in range(6) if group[h] == g)
            alone = sum(belief[h] for h in range(6) if group[h] == g)
            answer = sum(belief[h] * chance[h, a] for h in range(6))
            by_hand += both * math.log2(both / (alone * answer))
    assert _tells(belief[:, None], chance, group) == pytest.approx(by_hand, abs=1e-12)


def test_the_question_that_tells_most_comes_first(sprayer: str) -> None:
    got = intake(sprayer, "")
    rows = got["questions"]
    assert 4 <= len(rows) <= 10
    assert rows[0]["bits"] == max(r["bits"] for r in rows)
    adds = [r["adds_bits"] for r in rows]
    assert all(a <= b + 1e-9 for a, b in zip(adds[1:], adds, strict=False))  # each adds no more than the last
    assert sum(adds) <= got["open_bits"] + 1e-9
    assert got["minutes_min"] == 0
    for r in rows:
        assert sum(a["probability"] for a in r["answers"] if a["line"]) == pytest.approx(1)
        assert r["answers"][-1] == {"words": "don't know", "line": None, "probability": None, "leaves": []}


def test_what_nobody_knows_is_not_asked_again_and_the_rest_is_ranked_without_it(sprayer: str) -> None:
    first = intake(sprayer, "")["questions"]
    got = intake(sprayer, "", IntakeOptions(unknown=(first[0]["ask"],)))
    rows = got["questions"]
    assert first[0]["ask"] not in [r["ask"] for r in rows]
    assert rows[0]["adds_bits"] == rows[0]["bits"] == max(r["bits"] for r in rows)  # beside nothing above it
    assert not got["problems"]
    (told,) = intake(sprayer, "", IntakeOptions(unknown=(first[0]["ask"].replace("?", ""),)))["problems"]
    assert told["code"] == "unknown-question" and told["nearest"] == first[0]["ask"]


def test_every_answer_is_a_line_that_is_heard(sprayer: str) -> None:
    circuit = parse(sprayer)
    for name in ("sprayer", "trailer"):
        got = intake((DEMOS / f"{name}.sheet").read_text(), "", IntakeOptions(top=6))
        circuit = parse((DEMOS / f"{name}.sheet").read_text())
        lines = [a["line"] for q in got["questions"] for a in q["answers"] if a["line"]]
        lines += [x["line"] for x in (*got["exchanged"]["choices"], *got["worked_on"]["choices"])]
        for line in lines:
            heard = observations(circuit, line + "\n")
            assert not heard.ignored and len(heard.used) + len(heard.worked) == 1, line
            if heard.used and " replaced" not in line:
                assert heard.used[0].whose == "customer"


def test_what_an_answer_leaves_is_what_suspects_says_then(sprayer: str) -> None:
    first = intake(sprayer, "")["questions"][0]
    told = next(a for a in first["answers"] if a["words"].startswith("does not"))
    after = suspects(sprayer, told["line"] + "\n", SuspectOptions(doubles="off"))
    assert told["leaves"][0]["text"].split()[0] in {s["text"].split()[0] for s in after["suspects"][:3]}


def test_nobody_is_asked_twice(sprayer: str) -> None:
    first = intake(sprayer, "")["questions"][0]
    line = first["answers"][1]["line"]
    again = intake(sprayer, line + "\n")
    assert (first["about"], first["phase"]) not in {(q["about"], q["phase"]) for q in again["questions"]}
    assert "PUMP" not in {
        x["part"] for x in intake(sprayer, "PUMP replaced, no change\n")["exchanged"]["choices"]
    }


def test_what_was_worked_on_is_five_times_likelier(sprayer: str) -> None:
    circuit = parse(sprayer)
    heard = observations(circuit, 'worked on X7 "tow hitch"\n')
    plain, raised = singles(circuit), beforehand(circuit, heard.worked)
    factor, source = worked_factor()
    assert (factor, "common practice" in source) == (5.0, True)

    def prior(rows: object, key: str) -> float:
        return next(s.prior for s in rows if s.key == key)  # type: ignore[attr-defined]

    # joined to nothing of X7: the splice S1; both are joints and wires, so their ratio moves by the factor
    near, far = "X7.4:resistance", "STUD:resistance"
    before = prior(plain, near) / prior(plain, far)
    assert prior(raised, near) / prior(raised, far) == pytest.approx(5 * before)
    assert sum(s.prior for s in raised) == pytest.approx(sum(s.prior for s in plain))
    told = suspects(sprayer, 'worked on X7 "tow hitch"\n', SuspectOptions(doubles="off"))["raised"]
    assert [(r["what"], r["name"], r["factor"]) for r in told] == [("worked on", "X7", 5.0)]
    assert "tow hitch" in told[0]["words"]


def test_who_answers_must_be_known(sprayer: str) -> None:
    with pytest.raises(InputError, match="nobody is called custmer"):
        intake(sprayer, "", IntakeOptions("custmer"))
