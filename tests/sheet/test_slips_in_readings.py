"""A slip in a line of readings: where it is, what was meant, what to do."""

from __future__ import annotations

import pytest

from amptrail.errors import InputError, Problem
from amptrail.sheet import parse, parse_readings

CIRCUIT = parse("""
phase running 9 s
phase asleep 1 h
battery BAT 12.6 V
fuse F1 10 A
connector X1
lamp L 12 V 5 W
module ECM
path BAT.+ -- F1 -- X1.1 -- L -- body
path F1.out -- X1.2 -- ECM.30
path ECM.31 -- body
""")


def _problem(line: str) -> Problem:
    with pytest.raises(InputError) as caught:
        parse_readings(CIRCUIT, line + "\n")
    (found,) = caught.value.problems
    return found


@pytest.mark.parametrize(
    ("line", "code", "column", "near"),
    [
        ("X1.1 in running meter 5 volts", "unit", 25, "V"),
        ("X1.1 in running meter 5 mv", "unit", 25, "mV"),
        ("F1 in running clamp 3 Amps", "unit", 23, "A"),
        ("X1.11 in running meter 5 V", "unknown-terminal", 4, "1"),
        ("ECM says P9 in running", "dtc", 10, None),
        ("shopp says L.in in running meter 12 V", "syntax", 1, "shop"),
        ("batery 12.5 V", "syntax", 1, "battery"),
        ("F1.out in running lamp bright dim", "two-words", 31, None),
        ("X1.1 in off meter 5 V", "off", 13, None),
        ("L in after run works", "syntax", 12, "after-run"),
    ],
)
def test_a_slip_is_placed_and_said(line: str, code: str, column: int, near: str | None) -> None:
    p = _problem(line)
    assert (p.code, p.line, p.column, p.nearest) == (code, 1, column, near)
    assert p.remedy


def test_ohms_are_read_with_the_battery_off_and_written_as_people_do() -> None:
    (told,) = parse_readings(CIRCUIT, "L in off ohmmeter 2,5 Ohm\n").items
    assert told.value == 2.5
    (warned,) = parse_readings(CIRCUIT, "L in running ohmmeter 2,5 kOhm\n").warnings
    assert (warned.code, warned.line) == ("ohms-live", 1)


@pytest.mark.parametrize("line", ["L dead", "F1 clicks", "L.in 12.4 V", "L"])
def test_a_line_without_its_phase_is_answered_with_a_whole_line(line: str) -> None:
    assert " in running " in _problem(line).remedy


def test_a_line_that_begins_with_its_figure_is_answered_with_a_whole_line() -> None:
    assert "begin with the point" in _problem("12.4 V at L.in").remedy
