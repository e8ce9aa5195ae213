"""How pages call what has no name of its own on the sheet."""

from __future__ import annotations

import pytest

from amptrail.web import views


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("BAT.+>F1.in open", "wire BAT.+ to F1.in open"),
        ("BAT.->body resistance 0.31 ohm", "wire BAT.- to body resistance"),
        ("BAT.+>KEY.in.out to ground", "wire BAT.+ to KEY.in, at KEY.in to ground"),
        ("`K1` stuck off", "K1 stuck off"),
        ("BAT has emf 11.844 V", "BAT at rest only 11.8 V"),
    ],
)
def test_a_fault_is_said_as_a_person_says_it(fault: str, said: str) -> None:
    assert views.short(fault) == said


@pytest.mark.parametrize(
    ("point", "called"),
    [
        ("K1.87>X1.1.a.out", "X1.1.a"),
        ("BAT.+>F1.in.out", "F1.in"),
        ("F1.out>K1.30.in", "F1.out"),
        ("BAT.->body.out", "body"),
        ("W5.out", "W5.out"),
    ],
)
def test_a_point_of_a_run_without_a_name_is_called_by_its_part(point: str, called: str) -> None:
    assert views.called(point) == called


def test_where_a_lead_goes_names_the_ends_of_a_run_without_a_name() -> None:
    ask = {"where": "plug X1, cavity 1, 2.5 mm2 wire (K1.87>X1.1.a)", "reached": "from behind"}
    assert views.where(ask) == "plug X1, cavity 1, 2.5 mm2 wire (K1.87 to X1.1.a), from behind"
