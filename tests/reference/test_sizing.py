"""`size` as laws: what it chooses holds, by rules stated outside the chooser."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from amptrail.errors import InputError
from amptrail.reference import size
from amptrail.reference.fuse import opens_within_s, reach_m
from amptrail.reference.sizing import PLACE_C
from amptrail.reference.wire import ampacity_a, copper_factor, metric

CASES = (st.floats(0.2, 60), st.floats(0.3, 15), st.floats(0.1, 1.2), st.sampled_from(sorted(PLACE_C)))


@given(*CASES)
def test_the_choice_holds(amps: float, length_m: float, drop_v: float, place: str) -> None:
    try:
        got = size(amps, length_m, drop_v, place)
    except InputError:
        assume(False)
    wire = metric(got["area_mm2"])
    ohm = wire.ohm_per_m * copper_factor(got["temperature_c"]) * length_m
    assert got["drop_v"] == pytest.approx(amps * ohm) and got["drop_v"] <= drop_v * (1 + 1e-9)
    assert amps <= 0.8 * got["fuse_a"] * (1 + 1e-9)
    assert got["fuse_a"] <= ampacity_a(wire, got["ambient_c"], got["insulation_c"])
    assert got["temperature_c"] <= got["insulation_c"]
    short_a = 2 * got["fuse_a"]
    assert reach_m(wire, got["fuse_a"]) >= length_m
    assert opens_within_s(got["fuse_a"], short_a, "blade" if got["fuse_a"] <= 40 else "maxi") is not None
    assert {s["status"] for s in got["sources"]} <= {"seen", "memory", "computed"}


@given(*CASES)
def test_less_drop_never_takes_a_thinner_wire(
    amps: float, length_m: float, drop_v: float, place: str
) -> None:
    try:
        tight, loose = size(amps, length_m, drop_v, place), size(amps, length_m, 2 * drop_v, place)
    except InputError:
        assume(False)
    assert tight["area_mm2"] >= loose["area_mm2"]


def test_both_systems_and_words() -> None:
    got = size(10, 3)
    assert (got["area_mm2"], got["awg"], got["fuse_a"]) == (1.5, "14", 15.0)
    assert size(10, 3, 0.5, 40.0) == got


@pytest.mark.parametrize("bad", [(0, 1), (-1, 1), (1, 0), (float("nan"), 1), (1, float("inf")), (500, 50)])
def test_bad_input_is_a_clear_error(bad: tuple[float, float]) -> None:
    with pytest.raises(InputError):
        size(*bad)
    with pytest.raises(InputError, match="temperature"):
        size(1, 1, 0.5, "moon")
