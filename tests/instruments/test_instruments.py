"""Instruments: names, burden, accuracy, and where they may not go."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from amptrail.circuit.model import Term
from amptrail.errors import InputError
from amptrail.instruments import by_name, cautions, instruments
from amptrail.instruments.cautions import never_probe
from amptrail.reference.fuse import amps_from_drop
from amptrail.sheet import parse

SHEET = """
vehicle "Test bench, 12 V"
place hood 2 min hot
battery BAT at hood
resistor SENSE 100 ohm at hood
module ECM
ECM.31 ground
ECM.30 supply 25 ohm awake 12 kohm asleep
ECM.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V
ECM awake while ign
ECM.v5 reference v5 5 V 0.3 ohm limit 60 mA
ECM.bus can-high
ECM.mr low-side main on 150 mohm leak 1 Mohm limit 2.5 A while awake
resistor SRS 2 ohm
path BAT.+ -- ECM.30
path BAT.+ -- ECM.15
path BAT.+ -- [W1: 1 mm2 1 m] -- ECM.mr
path ECM.v5 -- SENSE -- body
path ECM.bus -- [W2: 0.5 mm2 1 m] -- body
path BAT.+ -- [W3: 1 mm2 1 m] -- SRS -- body
path ECM.31 -- body
path BAT.- -- body
refuse SRS restraint
never probe ECM.bus "bus: meter only, no lamp"
"""


def levels(at: str, instrument: str, **more: str) -> list[tuple[str, str]]:
    part, _, name = at.partition(".")
    got = cautions(parse(SHEET), Term(part, name), by_name(instrument), **more)
    return [(c.level, c.topic) for c in got]


@pytest.mark.parametrize(
    ("name", "kind", "parameters"),
    [
        ("meter", "meter", (10e6,)),
        ("lamp", "lamp", (12.0, 5.0)),
        ("lamp 21 W", "lamp", (12.0, 21.0)),
        ("LAMP 24 V 21 W", "lamp", (24.0, 21.0)),
        ("loaded", "loaded", (3.0,)),
        ("loaded 2,7 ohm", "loaded", (2.7,)),
        ("clamp", "clamp", ()),
        ("ohmmeter", "ohmmeter", ()),
        ("fuse_drop", "fuse-drop", (10e6,)),
        ("led", "led", ()),
    ],
)
def test_by_name(name: str, kind: str, parameters: tuple[float, ...]) -> None:
    got = by_name(name)
    assert (got.tap_kind, got.tap_parameters) == (kind, parameters)


@pytest.mark.parametrize(
    "bad", ["", "probe", "lamp 21", "lamp 3 ohm", "clamp 3 A", "lamp -5 W", "loaded 0 ohm"]
)
def test_unknown_instruments_are_clear_errors(bad: str) -> None:
    with pytest.raises(InputError):
        by_name(bad)


@given(st.sampled_from(instruments()), st.floats(-60, 60), st.floats(-60, 60))
def test_sigma_is_positive_and_grows_with_the_reading(i: object, a: float, b: float) -> None:
    one, two = (i.sigma(x) for x in sorted((a, b), key=abs))  # type: ignore[attr-defined]
    assert 0 < one <= two


def test_a_meter_is_far_better_than_a_lamp_and_worse_than_nothing() -> None:
    """0.5 % + 2 digits of 10 mV at 12 V is 80 mV, taken as two sigma (common practice)."""
    assert by_name("meter").sigma(12.0) == pytest.approx(0.04, abs=0.001)
    assert by_name("lamp").sigma(12.0) > 10 * by_name("meter").sigma(12.0)


def test_millivolts_resolve_little_behind_a_large_fuse() -> None:
    """0.1 mV: 13 mA on 10 A, 69 mA on 40 A (component datasheet; computed)."""
    digit = by_name("fuse-drop").resolution
    assert amps_from_drop(10, digit) == pytest.approx(0.013, rel=0.01)
    assert amps_from_drop(40, digit) == pytest.approx(0.0694, rel=0.01)
    assert not by_name("clamp").tells([0.0, 0.02]) and by_name("clamp").tells([0.0, 0.5])


def test_cautions_by_point_and_instrument() -> None:
    assert levels("SRS.in", "meter")[0] == ("never", "airbag")
    assert ("meter-only", "bus") in levels("W2.in", "lamp")
    assert ("meter-only", "reference") in levels("SENSE.in", "loaded")
    assert ("check", "module output") in levels("W1.out", "lamp")
    assert ("check", "module output") not in levels("W1.out", "meter")


def test_cautions_by_phase_place_and_way() -> None:
    got = levels("BAT.+", "meter", phase="cranking", reach="pierce")
    assert {t for _, t in got} >= {"battery", "cranking", "hot", "pierce"}
    assert ("note", "cranking") not in levels("BAT.+", "meter", phase="asleep")


def test_the_sheets_own_word_holds_for_the_whole_metal() -> None:
    circuit = parse(SHEET)
    assert never_probe(circuit, Term("W2", "in")) is not None
    assert never_probe(circuit, Term("W1", "in")) is None


def test_what_its_owner_measured_may_be_told_with_commas() -> None:
    plain = by_name("fuse-drop accuracy 5 % floor 0.1 mV")
    for told in ("fuse-drop accuracy 5 %, floor 0.1 mV", "fuse-drop accuracy 5 % and floor 0.1 mV"):
        assert (by_name(told).accuracy, by_name(told).floor) == (plain.accuracy, plain.floor) == (0.05, 1e-4)
    assert by_name("clamp offset 1,5 A").offset == 1.5
