"""Slips of colour, unit and size: what was meant stands in the remedy."""

from __future__ import annotations

import pytest

from amptrail.circuit.checks import check
from amptrail.errors import InputError, as_row, one
from amptrail.sheet import parse
from amptrail.sheet.feeds import parse_feed

BASE = "battery BAT\nfuse F1 10 A\nlamp L 12 V 5 W\npath BAT.+ -- F1 -- {} -- L -- BAT.-\n"


@pytest.mark.parametrize(
    ("wire", "column", "remedy"),
    [
        ("[RD/BK 1 mm2 1 m]", 24, "RDBK"),
        ("[W1: red/black 1 mm2 1 m]", 29, "RDBK"),
        ("[W1: RD 14 AWG 1 m]", 32, "14 AWG is 2.1 mm2"),
        ("[W1: RD 1.5 sqmm 1 m]", 33, "write mm2"),
    ],
)
def test_colours_and_areas_of_other_notations(wire: str, column: int, remedy: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(BASE.format(wire))
    (p,) = caught.value.problems
    assert (p.line, p.column) == (4, column) and remedy in p.remedy


def test_a_colour_nobody_can_look_up_is_warned_of() -> None:
    found = [p for p in check(parse(BASE.format("[W1: red 1 mm2 1 m]"))) if p.code == "colour"]
    assert [(p.severity, p.line, p.nearest) for p in found] == [("warning", 4, "RD")]
    assert not [p for p in check(parse(BASE.format("[W1: GNYE 1 mm2 1 m]"))) if p.code == "colour"]


@pytest.mark.parametrize(
    "feed", ["from F1.out to L.in wire 0 mm2 1 m", "from F1.out to L.in fuse 0 A wire 1 mm2"]
)
def test_a_feed_of_nothing_is_refused_with_what_such_parts_have(feed: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_feed(parse(BASE.format("[W1: 1 mm2 1 m]")), feed)
    assert [p.code for p in caught.value.problems] == ["out-of-range"]


def test_an_error_always_says_what_to_do_where_words_are_known() -> None:
    (p,) = one("x", "no instrument is called metre", expected=("meter", "lamp"), nearest="meter").problems
    assert as_row(p)["remedy"] == "write meter instead"


def test_a_part_declared_below_its_first_use_is_to_be_moved() -> None:
    with pytest.raises(InputError) as caught:
        parse("battery BAT\npath BAT.+ -- F1 -- L -- BAT.-\nlamp L 12 V 5 W\nfuse F1 5 A\n")
    told = {p.remedy for p in caught.value.problems}
    assert "move line 4, which declares it, above this one" in told


@pytest.mark.parametrize(
    ("line", "near"),
    [
        ("heater H 12 V 80 W", "at 12 V"),
        ("module M\npath M.31 -- BAT.-\nM.p low-side p on 100 mohm pwm 20 % while always", "duty"),
    ],
)
def test_a_figure_told_as_elsewhere_is_answered_with_the_word_for_it(line: str, near: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(BASE.format("[W1: 1 mm2 1 m]") + line + "\n")
    told = {p.nearest: str(as_row(p)["remedy"]) for p in caught.value.problems}
    assert near in told and near in told[near]
