"""Fuses against published readings and gates; each test names its source."""

from __future__ import annotations

import pytest

from amptrail.errors import InputError
from amptrail.reference.fuse import amps_from_drop, blade, fuses, gates, opens_within_s, reach_m
from amptrail.reference.wire import metric

# Story A01 (public, a draw at rest): volts across the tabs, amperes its teller took from a public table
STORY = [(15, 0.9e-3, 0.197), (10, 0.2e-3, 0.027), (15, 0.4e-3, 0.087)]


@pytest.mark.parametrize(("rating", "volts", "amps"), STORY)
def test_millivolts_of_a_public_story(rating: float, volts: float, amps: float) -> None:
    """Within the 10 % spread of fuses and the last digit of the meter (0.05 mV)."""
    got = amps_from_drop(rating, volts)
    assert abs(got - amps) < 0.1 * amps + amps_from_drop(rating, 0.05e-3)


def test_cold_resistance_of_mini_fuses_is_near_the_standard_size() -> None:
    """Datasheet and trade chart (seen): mini 10 A 7.42 mohm, mini 15 A 4.55 mohm."""
    for mini in fuses("mini"):
        standard = blade(mini.rating_a)
        assert mini.cold_ohm is not None and standard.cold_ohm is not None
        assert mini.cold_ohm == pytest.approx(standard.cold_ohm, rel=0.06)


def test_fuses_of_a_form_fall_in_resistance_and_warm_up() -> None:
    """Hot over cold 1.32 to 1.67 (computed from the listed drops)."""
    ohms = [f.cold_ohm for f in fuses() if f.cold_ohm is not None]
    assert ohms == sorted(ohms, reverse=True)
    for f in fuses():
        if f.rated_drop_v is not None and f.cold_ohm is not None:
            assert 1.3 < f.rated_drop_v / f.rating_a / f.cold_ohm < 1.7


@pytest.mark.parametrize(
    ("times", "seconds"),
    [(1.0, None), (1.34, None), (1.35, 1800), (2.0, 5), (3.5, 0.5), (6.0, 0.15), (50, 0.15)],
)
def test_gates(times: float, seconds: float | None) -> None:
    """ISO 8820-3 gates (seen), worst case of the editions."""
    assert opens_within_s(20, 20 * times) == seconds


def test_gates_close_in_with_current() -> None:
    for form in ("blade", "maxi"):
        top = [g.max_s for g in gates(form) if g.max_s is not None]
        assert top == sorted(top, reverse=True)
        assert all(g.min_s is None or g.max_s is None or g.min_s < g.max_s for g in gates(form))


@pytest.mark.parametrize(
    ("area", "rating", "metres"),
    [
        (0.35, 5, (17.1, 9.56, 5.38)), (0.35, 7.5, (11.3, 6.31, 3.53)), (0.5, 5, (25.1, 14.0, 7.88)),
        (0.5, 7.5, (16.6, 9.26, 5.17)), (0.5, 10, (12.4, 6.87, 3.81)), (0.75, 10, (18.6, 10.3, 5.72)),
        (0.75, 15, (12.3, 6.73, 3.66)), (1, 10, (24.9, 13.8, 7.63)), (1, 15, (16.4, 8.99, 4.89)),
        (1, 20, (12.1, 6.59, 3.51)), (1.5, 15, (23.8, 13.1, 7.12)), (1.5, 20, (17.7, 9.6, 5.12)),
        (2.5, 20, (29.5, 16.0, 8.55)), (2.5, 25, (23.3, 12.5, 6.55)), (2.5, 30, (19.2, 10.2, 5.21)),
        (4, 30, (31.0, 16.5, 8.4)), (4, 40, (22.6, 11.7, 5.68)), (6, 40, (33.9, 17.6, 8.51)),
    ],
)  # fmt: skip
def test_reach_table(area: float, rating: float, metres: tuple[float, float, float]) -> None:
    """The reach table worked out independently: 12.0 V behind 15 mohm, wire at 85 C (computed)."""
    for times, length in zip((2, 3.5, 6), metres, strict=True):
        assert reach_m(metric(area), rating, times) == pytest.approx(length, rel=0.01)


def test_a_thin_long_wire_on_a_big_fuse_never_opens_it() -> None:
    """Check case: 10 m of 0.5 mm2 on 30 A at 20 C draws 31 A, 103 % of rating (computed)."""
    amps = 12.0 / (10 * metric(0.5).ohm_per_m + 0.015 + (blade(30).cold_ohm or 0))
    assert amps == pytest.approx(31, abs=0.5)
    assert opens_within_s(30, amps) is None
    assert reach_m(metric(0.5), 30) < 10


def test_no_such_fuse() -> None:
    with pytest.raises(InputError, match="no blade fuse rating"):
        blade(12)
