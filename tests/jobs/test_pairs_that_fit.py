"""A pair of causes is only tried when one vehicle can hold both."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from amptrail.faults import changes
from amptrail.jobs.evidence.beforehand import singles
from amptrail.jobs.evidence.doubles import bridges, predicted
from amptrail.jobs.evidence.predict import double
from amptrail.jobs.judging.suspects import judge
from amptrail.sheet import parse
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Kind
from amptrail.solve.network import SPARE

TRAILER = parse((Path(__file__).parents[2] / "demos" / "trailer.sheet").read_text(encoding="utf-8"))


def test_branches_are_counted_as_the_overlay_makes_them() -> None:
    """Nothing added twice between the same metal; never fewer said than made."""
    network = assemble(TRAILER)
    most = 0
    for s in singles(TRAILER):
        made = sum(
            c.kind == Kind.BRIDGE for x in s.causes for f in x.faults for c in changes(network, f, 1.0)
        )
        assert made <= bridges(s) <= made + 2, s.key
        most = max(most, made)
    assert most <= SPARE  # every single cause fits by itself


def test_water_beside_crossed_pins_is_more_than_a_lane_holds() -> None:
    by_count = {bridges(s): s for s in singles(TRAILER)}
    both = double(by_count[3].causes[0], by_count[2].causes[0])
    assert bridges(both) > SPARE


def test_a_pair_solved_before_is_as_likely_beforehand_as_asked_now() -> None:
    """History moves priors between two questions; the lanes stay."""
    sheet = parse((Path(__file__).parents[2] / "demos" / "first" / "lamp.sheet").read_text(encoding="utf-8"))
    seen = judge(sheet, "WORK.in in ignition-on meter 0.02 V", doubles="off").seen
    a, b = singles(sheet)[:2]
    pair = double(a.causes[0], b.causes[0])
    (first,) = predicted(sheet, [pair], seen)
    (second,) = predicted(sheet, [replace(pair, prior=7.0 * pair.prior)], seen)
    assert first.prior == pair.prior
    assert second.prior == pytest.approx(7.0 * pair.prior)
