"""Faults that come and go: a good reading while it works clears nothing, and a count is one reading."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from amptrail.belief.chance import any_share_log_likelihood, count_log_likelihood
from amptrail.jobs.judging.suspects import judge
from amptrail.sheet import parse

SPRAYER = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text(encoding="utf-8")
FAILS = "battery 12.5 V\nPUMP in ignition-on does not work while failing\n"
GOOD = "X7.4.a in ignition-on loaded 12.0 V"


def _mass(readings: str, *parts: str) -> float:
    """Probability of all explanations that blame one of the parts and nothing else."""
    j = judge(parse(SPRAYER), readings, doubles="off")
    return sum(
        float(p)
        for s, p in zip(j.suspects, j.post.probability, strict=True)
        if len(s.causes) == 1 and any(f.at.part in parts for f in s.causes[0].faults)
    )


def test_a_good_reading_while_it_works_clears_no_fault_upstream() -> None:
    upstream = ("K4", "W9", "W8", "F9")
    before = _mass(FAILS, *upstream)
    while_working = _mass(f"{FAILS}{GOOD} while working\n", *upstream)
    while_failing = _mass(f"{FAILS}{GOOD} while failing\n", *upstream)
    assert while_working > 0.5 * before
    assert while_failing < 0.1 * before


def test_seven_of_ten_tries_do_not_speak_for_a_healthy_vehicle() -> None:
    j = judge(parse(SPRAYER), "PUMP in ignition-on works 7 of 10\n", doubles="off")
    assert j.post.nothing_broken < 0.2
    assert math.isclose(float(j.post.probability.sum()) + j.post.undrawn, 1.0, abs_tol=1e-9)


@pytest.mark.parametrize("tries", [1, 2, 10])
def test_any_count_is_as_likely_as_any_other_when_nothing_is_known(tries: int) -> None:
    """Laplace's rule of succession: the binomial averaged over all shares is 1 / (tries + 1)."""
    never = np.zeros(1)
    told = [math.exp(any_share_log_likelihood(k, tries, never, 1.0)[0]) for k in range(tries + 1)]
    assert math.isclose(sum(told), 1.0, rel_tol=0.01)
    shares = [(i + 0.5) / 4000 for i in range(4000)]
    mean = sum(math.exp(count_log_likelihood(1, tries, p)) for p in shares) / 4000
    assert math.isclose(mean, told[1], rel_tol=0.01)


def test_a_fault_that_changes_nothing_explains_no_failure_by_coming_and_going() -> None:
    """A lamp elsewhere may come and go as it likes: the pump fails for it no oftener than healthy."""
    same = any_share_log_likelihood(7, 10, np.full(1, 0.98), 0.98)[0]
    assert math.isclose(same, count_log_likelihood(7, 10, 0.98), rel_tol=1e-6)
    j = judge(parse(SPRAYER), "PUMP in ignition-on works 7 of 10\n", doubles="off")
    inert = sum(
        float(p)
        for s, p in zip(j.suspects, j.post.probability, strict=True)
        if any(f.mode in ("woken", "stays_awake") for c in s.causes for f in c.faults)
    )
    assert inert < 0.02


def test_lines_in_another_order_give_the_same_numbers() -> None:
    lines = [*FAILS.splitlines(), f"{GOOD} while working", "K4 in ignition-on clicks while working"]
    a = judge(parse(SPRAYER), "\n".join(lines), doubles="off")
    b = judge(parse(SPRAYER), "\n".join([lines[0], *reversed(lines[1:])]), doubles="off")
    mine = {s.key + str(h.showing): p for s, h, p in zip(
        a.suspects, a.post.table.hypotheses, a.post.probability, strict=True)}  # fmt: skip
    for s, h, p in zip(b.suspects, b.post.table.hypotheses, b.post.probability, strict=True):
        assert math.isclose(mine[s.key + str(h.showing)], p, abs_tol=1e-9)


@pytest.mark.parametrize("fails", ["works 3 of 10", "does not work while failing"])
def test_a_part_exchanged_in_vain_is_not_the_cause_of_what_comes_and_goes(fails: str) -> None:
    """With a new relay in it still fails: neither a count nor coming and going keeps the old one."""
    told = f"PUMP in ignition-on does not work\nPUMP in ignition-on {fails}\n"
    before, after = _mass(told, "K4"), _mass(told + "K4 replaced, no change\n", "K4")
    assert after < 0.15 * before
