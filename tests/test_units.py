"""Numbers with units: exact both ways, clear errors."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from amptrail import units
from amptrail.errors import InputError


@pytest.mark.parametrize(
    ("text", "si"),
    [
        ("3 mohm", 0.003), ("3mΩ", 0.003), ("1,5 mm2", 1.5), ("1.2 kohm", 1200.0), ("2 min", 120.0),
        ("1 h", 3600.0), ("-3 mV", -0.003), ("5 x", 5.0), ("4.7 Mohm", 4.7e6), ("420 mA", 0.42),
    ],
)  # fmt: skip
def test_parse(text: str, si: float) -> None:
    assert units.parse(text) == si


@given(
    st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12),
    st.sampled_from(["ohm", "A", "V", "W", "mm2", "m", "s", "x"]),
)
def test_exact_print_reads_back_as_the_same_float(si: float, what: units.Dimension) -> None:
    assert units.parse(units.exact(si, what), what) == si


@pytest.mark.parametrize("bad", ["", "ohm", "12", "1.2.3 V", "3 volt", "nan V", "1e999 V"])
def test_bad_numbers_are_clear_errors(bad: str) -> None:
    with pytest.raises(InputError) as e:
        units.parse(bad)
    assert e.value.problems[0].message


def test_wrong_dimension_and_nearest_unit() -> None:
    with pytest.raises(InputError, match="should be in V"):
        units.parse("3 A", "V")
    with pytest.raises(InputError) as e:
        units.parse("3 mohms")
    assert e.value.problems[0].nearest == "mohm"


def test_printing_for_people() -> None:
    assert units.rounded(0.0123456, "ohm") == "12.3 mohm"
    assert units.rounded(12.6349, "V") == "12.6 V"
    assert units.rounded(float("inf"), "ohm").startswith("over range")
    assert [units.minutes(m) for m in (0.5, 12.2, 85)] == ["30 s", "12 min", "1 h 25 min"]
