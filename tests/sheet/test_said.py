"""How a fault and a point are said: no notation, no name of a value, two figures of an estimate."""

from __future__ import annotations

import pytest

from amptrail.sheet.said import called, plain, rounded, short


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("BAT.+>F1.in open", "wire BAT.+ to F1.in open"),
        ("BAT.->body resistance 0.31 ohm", "wire BAT.- to body resistance"),
        ("BAT.+>KEY.in.out to ground", "wire BAT.+ to KEY.in, at KEY.in to ground"),
        ("`K1` stuck off", "K1 stuck off"),
        ("BAT has emf 11.844 V", "BAT at rest only 11.8 V"),
        ("BAT has inner 60 mohm", "BAT inner resistance 60 mohm"),
        ("K7 has coil 4.53 ohm", "K7 winding only 4.5 ohm"),
        ("ECM woken", "something wakes ECM"),
        ("`WORK` has rated 5 W", "WORK wrong bulb, 5 W"),
    ],
)
def test_a_fault_is_said_as_a_person_says_it(fault: str, said: str) -> None:
    assert short(fault) == said


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ("K1.87>X1.1.a.out", "X1.1.a"),
        ("BAT.+>F1.in.out", "F1.in"),
        ("F1.out>K1.30.in", "F1.out"),
        ("BAT.->body.out", "body"),
        ("W5.out", "W5.out"),
    ],
)
def test_a_point_of_a_run_without_a_name_is_called_by_its_part(point: str, words: str) -> None:
    assert called(point) == words


def test_an_estimate_has_two_figures() -> None:
    assert rounded("X9.1 resistance 71.1 ohm") == "X9.1 resistance 71 ohm"
    assert plain("G2 resistance 5.68 ohm and F1.out>K1.30 open") == (
        "G2 resistance about 5.7 ohm and wire F1.out to K1.30 open"
    )
