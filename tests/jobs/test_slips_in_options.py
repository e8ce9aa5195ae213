"""What a plan is asked for by a wrong name is told; more figures than can be weighed are told too."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.errors import InputError
from amptrail.feed.fitting import fit
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.suspects import MOST_FIGURES, judge
from amptrail.sheet import parse
from amptrail.sheet.feeds import parse_feed

STARTER = (Path(__file__).parents[2] / "demos" / "starter.sheet").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "options", [NextOptions(have=("scpoe",)), NextOptions(without=("metr",)), NextOptions(cannot=("X.1",))]
)
def test_a_misspelt_instrument_or_point_is_told(options: NextOptions) -> None:
    with pytest.raises(InputError):
        next_tests(STARTER, "", options)


def test_more_figures_than_can_be_weighed_are_told_with_their_line() -> None:
    circuit = parse(STARTER)
    line = "BAT.+ in running meter 14 V\n"
    assert len(judge(circuit, line * MOST_FIGURES, "off").seen.numbers) == MOST_FIGURES
    with pytest.raises(InputError) as caught:
        judge(circuit, line * (MOST_FIGURES + 1), "off")
    assert caught.value.problems[0].line == MOST_FIGURES + 1


def test_a_feed_from_a_metal_to_itself_is_none() -> None:
    circuit = parse(STARTER)
    with pytest.raises(InputError):
        fit(circuit, parse_feed(circuit, "from BAT.+ to BAT.+ wire 1 mm2 1 m"))
