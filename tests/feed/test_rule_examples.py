"""Every rule's own examples: its BAD feeds break it, its GOOD feeds keep it (issue 3, item 3).

All but one (a joint that stays cool) are rows of feeds/expected.toml, whose verdicts were written by hand
before there was a judge (feeds/README.md); tests/feeds judges the whole table in every corner. Here: the
values of the sheet only, but for the rule that speaks in a corner alone.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from types import ModuleType

import pytest

from amptrail.circuit.model import Circuit
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.extra import extra_of
from amptrail.feed.marks import PURPOSES, Mark, Purpose
from amptrail.feed.rules import RULES
from amptrail.feed.verdict import Verdict, judge
from amptrail.jobs.base.faultnames import named_or_text
from amptrail.jobs.solved.feeds import find_feed
from amptrail.sheet import parse

FEEDS = Path(__file__).parents[2] / "feeds"
IN_CORNERS = {"voltage_drop"}  # looked at when the battery gives 10.5 V
# rules that say nothing of what is well: a kept one has no figure to look for
SILENT = {"dead_lock", "self_holding", "permanently_on", "chatter", "fuse_opens"}

BAD = [pytest.param(r, e, id=f"{r.NAME}-{n}") for r in RULES for n, e in enumerate(r.BAD)]
GOOD = [pytest.param(r, e, id=f"{r.NAME}-{n}") for r in RULES for n, e in enumerate(r.GOOD)]


@cache
def circuit(sheet: str) -> Circuit:
    return parse((FEEDS / sheet).read_text(encoding="utf-8"))


@cache
def judged(e: Example, purpose: Purpose, nominal: bool) -> Verdict:
    c = circuit(e.sheet)
    return judge(c, find_feed(c, e.feed), purpose, tuple(named_or_text(c, e.against)), nominal=nominal)


def verdict(rule: ModuleType, e: Example, purpose: Purpose | None = None) -> Verdict:
    return judged(e, purpose or e.purpose, rule.NAME not in IN_CORNERS)


def of(rule: ModuleType, marks: tuple[Mark, ...]) -> list[Mark]:
    return [m for m in marks if m.rule == rule.NAME]


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.NAME)
def test_a_rule_has_examples_of_both_kinds(rule: ModuleType) -> None:
    assert rule.BAD
    assert rule.GOOD
    assert not set(rule.BAD) & set(rule.GOOD)


@pytest.mark.parametrize(("rule", "example"), BAD)
def test_a_bad_example_is_refused_by_its_rule(rule: ModuleType, example: Example) -> None:
    v = verdict(rule, example)
    assert v.verdict == "refused"
    assert of(rule, v.broken), [m.rule for m in v.broken]


@pytest.mark.parametrize(("rule", "example"), GOOD)
def test_a_good_example_holds(rule: ModuleType, example: Example) -> None:
    v = verdict(rule, example)
    assert v.verdict == "holds", [m.rule for m in v.broken]
    assert not of(rule, v.already_so), "what the healthy vehicle breaks too is no good example"


@pytest.mark.parametrize(("rule", "example"), GOOD)
def test_a_good_example_has_its_rule_at_play(rule: ModuleType, example: Example) -> None:
    """Kept, not passed over: the rule has something to look at there."""
    v = verdict(rule, example)
    if rule.NAME in IN_CORNERS:
        assert v.worst[rule.NAME].ok
        return
    told = list(rule.marks(Case(v.lives, example.purpose, extra=extra_of(v.fitted))))
    assert bool(told) == (rule.NAME not in SILENT)


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.NAME)
def test_the_severity_of_a_purpose_decides(rule: ModuleType) -> None:
    """The same bad feed for another purpose: refused or only said, as the rule states."""
    for purpose in PURPOSES:
        v = verdict(rule, rule.BAD[0], purpose)
        where = {"refuse": v.broken, "note": v.notes}[rule.SEVERITY[purpose]]
        assert of(rule, where), (purpose, [m.rule for m in v.broken], [m.rule for m in v.notes])
