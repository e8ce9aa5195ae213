"""Readings: what is understood, what is refused, what is warned of."""

from __future__ import annotations

import pytest

from amptrail.circuit.model import Term
from amptrail.errors import InputError
from amptrail.sheet import Reading, parse, parse_readings

CIRCUIT = parse(
    "battery BAT\nfuse F1 10 A\nrelay K4\nlamp L 12 V 5 W\nmodule ECM\nsplice S1\n"
    "path BAT.+ -- F1 -- S1 -- K4.30-87 -- L -- body\npath S1 -- K4.86-85 -- ECM.1\n"
)


def _one(text: str) -> Reading:
    (item,) = parse_readings(CIRCUIT, text).items
    return item


def test_a_line_is_taken_apart() -> None:
    r = _one("battery 12,4 V\nF1.out to body in running meter 11,9 V battery 11.8 V unsure while failing")
    assert (r.a, r.b, r.phase, r.instrument) == (Term("F1", "out"), Term("", "body"), "running", "meter")
    assert (r.value, r.unit, r.battery_v, r.quality, r.while_failing) == (11.9, "V", 11.8, ("unsure",), True)


def test_standing_battery_and_conditions_hold_until_taken_back() -> None:
    text = "battery 12 V\nwith K4 out, F1 pulled\n"
    text += "K4.30 in running meter 0 V\nwithout conditions\nL in running works"
    first, second = parse_readings(CIRCUIT, text).items
    assert first.conditions.pulled == ("K4", "F1") and second.conditions.pulled == ()
    assert first.battery_v == second.battery_v == 12.0


def test_times_counts_and_ranges() -> None:
    assert _one("S1.1 in running lamp lit > 70 s").at_least
    tried = _one("L in running works 7 of 10")
    assert (tried.ok, tried.tries) == (7, 10)
    swing = _one("F1 in running clamp 9 A to 3 A jumps when K4 moved")
    assert (swing.low, swing.high, swing.moved) == (3.0, 9.0, "K4")


def test_a_socket_under_a_fitted_relay_is_warned_of() -> None:
    under = parse_readings(CIRCUIT, "K4.87 in running meter 12 V").warnings
    assert [w.code for w in under] == ["under-the-relay"]
    assert not parse_readings(CIRCUIT, "with K4 out\nK4.87 in running meter 12 V").warnings


def test_two_readings_that_cannot_both_hold_are_warned_of() -> None:
    told = parse_readings(CIRCUIT, "F1.in in running meter 12 V\nF1.in in running meter 3 V").warnings
    assert [(w.code, w.line) for w in told] == [("contradicts", 2)]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("F1.in in runing meter 12 V", "unknown-phase"),
        ("F1.x in running meter 12 V", "unknown-terminal"),
        ("F8.in in running meter 12 V", "unknown-part"),
        ("F1.in in off ohmmeter -3 ohm", "impossible"),
        ("F1.in in running meter 3 A", "wrong-unit"),
        ("F1.in in running meter bright", "wrong-word"),
        ("F1.in in running meter 12", "no-unit"),
        ("L in running works 9 of 7", "impossible"),
        ("battery 900 V", "impossible"),
        ("with feed J9", "unknown-feed"),
    ],
)
def test_what_cannot_be_is_refused(line: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_readings(CIRCUIT, "battery 12 V\n" + line)
    assert [(p.code, p.line) for p in caught.value.problems] == [(code, 2)]
