"""Where one cause explains by a slip or two, two faults are looked for all the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.belief import posterior
from amptrail.jobs.evidence.beforehand import singles
from amptrail.jobs.evidence.doubles import promising
from amptrail.jobs.evidence.predict import evidence, solve_all, table
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse

SENSORS = parse((Path(__file__).parents[2] / "demos" / "sensors.sheet").read_text(encoding="utf-8"))
ANSWERED = (
    """five-volts in asleep works
ECM.rlp in ignition-on meter 2.49 V
BAT in after-run clamp 0.51 A
F_IGN.in in after-run meter 0.00 V
ECM replaced
five-volts in asleep does not work
"""
    + 5 * "five-volts in ignition-on does not work\n"
)


def test_a_new_module_that_does_not_help_speaks_for_a_second_fault() -> None:
    """Five answers against the one cause were five slips to it, and all readings explained."""
    j = judge(SENSORS, ANSWERED)
    assert j.pairs_weighed > 0
    first = j.suspects[j.post.ranking()[0]]
    assert {f.at.part for c in first.causes for f in c.faults} == {"ECM", "KEY"}


@pytest.mark.parametrize(
    "told", ["five-volts in ignition-on does not work\n", "ECM.rlp in ignition-on meter 2.49 V\n"]
)
def test_what_one_cause_explains_without_a_slip_asks_for_no_pairs(told: str) -> None:
    base = singles(SENSORS)
    seen = evidence(observations(SENSORS, told).used)
    only = table(SENSORS, base, seen, solve_all(SENSORS, base, seen), 0)
    assert not promising(base, only, posterior(only))
