"""What stopped somebody who wrote a first sheet (design/0009-a-stranger.md): told once, and told where."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.tables import KINDS, table
from amptrail.errors import InputError, Problem
from amptrail.sheet import parse, parse_readings
from amptrail.sheet.page import page
from amptrail.sheet.parse import parse_with_warnings

DOC = Path(__file__).parents[2] / "docs" / "parts.md"
HEAD = "battery BAT 12.6 V\nphase idle as awake 10 s\nlamp L 12 V 5 W\n"
TAIL = "path BAT.+ -- L -- body\npath BAT.- -- body\n"


def _told(text: str) -> list[Problem]:
    with pytest.raises(InputError) as caught:
        parse(text)
    return list(caught.value.problems)


@pytest.mark.parametrize("line", ["relay K1 24 V coil 85 ohm", "relay K1 coil", "relay `K1` coil 85 kg"])
def test_a_part_whose_own_line_is_wrong_is_told_once(line: str) -> None:
    uses = (
        "path BAT.+ -- K1.30-87 -- L -- body\nnet n: K1.87\nfault F: K1.coil open\nreach K1.85 socket 1 min\n"
    )
    got = _told(HEAD + line + "\n" + uses + TAIL)
    assert [p.line for p in got] == [4], [p.text() for p in got]


def test_a_part_nobody_declared_is_still_told() -> None:
    got = _told(HEAD + "relay K1 24 V\npath BAT.+ -- K2.30-87 -- L -- body\n" + TAIL)
    assert [(p.line, p.code) for p in got] == [(4, "unknown-attribute"), (5, "unknown-part")]


def test_what_a_kind_takes_is_said_as_it_is_written() -> None:
    (got,) = _told(HEAD + "relay K1 24 V\n" + TAIL)
    assert "coil … ohm" in got.expected
    assert "suppressed none or resistor or diode" in got.expected
    assert got.nearest is None


def test_a_bad_reading_says_it_is_in_the_readings() -> None:
    with pytest.raises(InputError) as caught:
        parse_readings(parse(HEAD + TAIL), "battery 12.5 V\nL in idle lit\n")
    (got,) = caught.value.problems
    assert got.line == 2 and got.message.startswith("readings: ")


def test_a_way_nobody_knows_is_warned_of() -> None:
    _, warned = parse_with_warnings(HEAD + TAIL + "reach L.in back-prob 2 min\n")
    assert [(p.code, p.nearest, p.line) for p in warned] == [("unknown-reach", "back-probe", 6)]
    assert parse_with_warnings(HEAD + TAIL + "reach L.in Back_Probe 2 min\n")[1] == ()


def test_a_contactor_with_studs_is_not_under_a_relay() -> None:
    text = HEAD + "relay K1\npath BAT.+ -- K1.30-87 -- L -- body\npath BAT.+ -- K1.86-85 -- body\n" + TAIL
    line = "K1.85 in idle meter 0.1 V\n"
    assert [w.code for w in parse_readings(parse(text), line).warnings] == ["under-the-relay"]
    assert parse_readings(parse(text + "reach K1.85 bolt 1 min\n"), line).warnings == ()


def test_the_page_of_parts_is_current_and_whole() -> None:
    text = DOC.read_text(encoding="utf-8")
    assert text == page(), "run: python -m amptrail.sheet.page docs/parts.md"
    rows = [x for x in text.splitlines() if x.startswith("| `")]
    assert len(rows) == sum(len(table(k)) for k in KINDS)


def test_a_scan_handed_in_as_readings_is_no_text() -> None:
    with pytest.raises(InputError) as caught:
        parse_readings(parse(HEAD + TAIL), "\x89\x01\x02 L\n\x07\x08\n" * 100)
    assert [p.code for p in caught.value.problems] == ["not-text"]


def test_a_part_that_a_reading_names_is_not_to_be_declared_in_the_readings() -> None:
    with pytest.raises(InputError) as caught:
        parse_readings(parse(HEAD + TAIL), "F9.in in idle meter 12 V\n")
    assert caught.value.problems[0].remedy == "use a name of the sheet, or add F9 to it"
