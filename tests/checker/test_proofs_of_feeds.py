"""The independent checker: what holds is accepted, whatever is altered or forged is not.

The counts are issue 3's; `benchmarks.proofs` does all of them, here is what fits a minute.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from altered_proofs import FOLDER, KINDS, alter, proof_text, row, sheet_text, shuffled, verdict

from amptrail.checker import check
from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.errors import InputError
from amptrail.feed.proof import sha256

HOLDING = ("P1", "R2", "D3")  # one each of three sheets
# refused for one reason each, of very different kinds
REFUSED = ("P3", "P4", "P7", "P8")


@pytest.mark.parametrize("name", HOLDING)
def test_what_holds_is_accepted_in_any_order_of_keys(name: str) -> None:
    r, rng = row(name), random.Random(name)
    text = proof_text(r)
    got = check(text, sheet_text(r.sheet))
    assert got.valid, (got.step, got.reason)
    proof = json.loads(text)
    for _ in range(3):
        other = shuffled(proof, rng)
        assert sha256(other) == sha256(proof)
        assert check(json.dumps(other, indent=1), sheet_text(r.sheet)).valid


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", HOLDING[:2])
def test_what_is_altered_is_rejected(kind: str, name: str) -> None:
    r, rng = row(name), random.Random(f"{kind} {name}")
    proof = json.loads(proof_text(r))
    for n in range(6):
        altered, sheet = alter(kind, proof, sheet_text(r.sheet), rng)
        try:
            got = check(json.dumps(altered), sheet)
        except InputError:
            continue  # the sheet itself is no sheet any more
        assert not got.valid, f"{kind}, number {n}"
        assert got.reason


@pytest.mark.parametrize("name", REFUSED)
def test_a_true_account_of_a_feed_that_does_not_hold_is_rejected_by_a_rule_the_judge_found(name: str) -> None:
    r = row(name)
    got = check(proof_text(r, forged=True), sheet_text(r.sheet))
    assert not got.valid
    assert got.reason.split()[0] in {m.rule for m in verdict(r).broken}


def _prove(proof: str, sheet: str) -> dict[str, object]:
    return answer(["prove", "p", "s"], Files({"p": proof, "s": sheet}))


def test_the_command_answers_and_exits() -> None:
    r = row("R2")
    assert _prove(proof_text(r), sheet_text(r.sheet))["exit"] == 0
    got = _prove(proof_text(r), sheet_text("pump"))
    assert (got["exit"], got["valid"]) == (1, False)


@pytest.mark.parametrize(
    "text",
    ["", "no json", "[1, 2", "[]", "{}", '{"amptrail_proof": 1}', '{"amptrail_proof": true}', "[" * 100_000,
     '{"amptrail_proof": 1, "amptrail_proof": 1}', '{"amptrail_proof": 1, "verdict": "refused"}', "NaN",
     '{"amptrail_proof": 1, "verdict": "holds", "purpose": "leave", "points": [{"state": {}}]}'],
)  # fmt: skip
def test_what_is_no_proof_is_a_clear_error(text: str) -> None:
    got = _prove(text, sheet_text("pump"))
    assert got["exit"] == 2
    problem = got["problems"][0]  # type: ignore[index]
    assert problem["message"] and problem["remedy"]


def test_damage_anywhere_is_an_error_or_a_rejection() -> None:
    r, rng = row("R2"), random.Random(5)
    text = proof_text(r)
    for _ in range(12):
        n = rng.randrange(len(text))
        got = _prove(text[:n], sheet_text(r.sheet))
        assert got["exit"] == 2, got
        got = _prove(text[:n] + rng.choice('x",}{[7') + text[n + 1 :], sheet_text(r.sheet))
        assert got["exit"] in (0, 1, 2), got  # a digit put for itself changes nothing


@pytest.mark.parametrize(
    "values",
    [{"K9 pull_v": 5.0}, {"BAT nonsense": 5.0}, {"BAT emf_v": 0.0}, {"BAT emf_v": -12.0}, {"": 1.0},
     {"BAT emf_v": 1e290}, {"BAT inner_ohm": 1e11}],
)  # fmt: skip
def test_a_corner_that_no_vehicle_has_is_rejected(values: dict[str, float]) -> None:
    r = row("R2")
    proof = json.loads(proof_text(r))
    proof["corners"][-1]["values"] = values
    got = _prove(json.dumps(proof), sheet_text(r.sheet))
    assert (got["exit"], got["valid"]) == (1, False), got


def test_feed_writes_its_proof_and_a_refused_one_has_none() -> None:
    good, bad = row("P1"), row("P7")
    sheet = sheet_text("pump")
    argv = ["feed", "s", "--against", good.against, "--prove", "p"]
    got = answer([*argv, "--feed", good.feed], Files({"s": sheet}))
    proof = got["feeds"][0]["proof"]
    assert got["feeds"][0]["proof_sha256"] == sha256(proof)
    assert _prove(json.dumps(proof), sheet)["valid"] is True
    got = answer(
        ["feed", "s", "--against", bad.against, "--prove", "p", "--feed", bad.feed], Files({"s": sheet})
    )
    assert got["exit"] == 1 and got["feeds"][0]["proof_sha256"] is None
    got = answer([*argv, "--feed", good.feed, "--nominal"], Files({"s": sheet}))
    assert got["exit"] == 2


def test_on_disk_the_proof_is_a_file_and_not_in_the_answer(tmp_path: Path) -> None:
    r, file = row("P1"), tmp_path / "p.proof"
    sheet = str(FOLDER / "pump.sheet")
    got = answer(["feed", sheet, "--feed", r.feed, "--against", r.against, "--prove", str(file)], Files())
    told = got["feeds"][0]
    assert "proof" not in told
    assert told["proof_sha256"] == sha256(json.loads(file.read_text(encoding="utf-8")))
    assert answer(["prove", str(file), sheet], Files())["exit"] == 0
