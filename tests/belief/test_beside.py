"""Beside the causes: a vehicle not as drawn, an instrument that is wrong; all of it adds up to one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.belief import (
    Hypothesis,
    Prediction,
    Reading,
    Spoiler,
    Table,
    contributions,
    other_weights,
    posterior,
    single_grid,
)
from amptrail.belief.beside import ASTRAY, LIKE_DRAWN, undrawn_evidence

GRID = single_grid(0.01, 1000)
OHM = 10 ** GRID.axes[0]
TAPS = np.array([1.0, 0.5, 0.8, 0.25, 0.65])


def table(values: list[float], **more: object) -> Table:
    """A feed with resistance before loads of 2, 6 or 40 ohm, or nothing wrong, read at five taps."""
    loads = [
        Hypothesis(f"r{k}", 0.1, Prediction(np.outer(12.6 * q / (q + OHM), TAPS)), GRID)
        for k, q in enumerate((2.0, 6.0, 40.0))
    ]
    well = Hypothesis("nothing", 0.7, Prediction(12.6 * TAPS[None]))
    readings = tuple(Reading(v, 0.05, line=i + 1) for i, v in enumerate(values))
    return Table((*loads, well), readings, healthy=3, **more)  # type: ignore[arg-type]


SPOILERS = (
    Spoiler(0.006, (0, 1, 2, 3, 4), dead=True),
    Spoiler(0.004, (0, 1, 2, 3, 4)),
    Spoiler(0.01, (0, 1, 2, 3, 4), factor=0.3),
)


@given(st.lists(st.floats(0, 14), min_size=5, max_size=5))
@settings(max_examples=25, deadline=None)
def test_everything_adds_up_to_one(values: list[float]) -> None:
    found = posterior(table(values, undrawn=0.02, spoilers=SPOILERS))
    assert found.probability.sum() + found.undrawn + found.spoiled.sum() == pytest.approx(1.0, abs=1e-9)
    assert (found.probability >= 0).all() and found.undrawn >= 0 and (found.spoiled >= 0).all()
    assert 0 <= found.unexplained.p_value <= 1


def test_a_plain_good_explanation_is_not_beaten() -> None:
    for values in (12.6 * TAPS, 12.6 * 6 / (6 + 3.0) * TAPS, 12.6 * 2 / (2 + 900.0) * TAPS):
        found = posterior(table(list(values), undrawn=0.02, spoilers=SPOILERS))
        assert found.undrawn < 0.01
        assert found.spoiled.sum() < found.probability.max()
        assert not found.unexplained.is_so


def test_one_low_battery_in_the_meter_explains_all_at_once() -> None:
    found = posterior(table(list(1.37 * 12.6 * TAPS), undrawn=0.02, spoilers=SPOILERS))
    assert found.spoiled[2] > 0.9
    assert not found.unexplained.is_so


def test_a_dead_lead_shows_nothing_whatever_is_there() -> None:
    """No cause of this list takes the first tap to nothing: its lead does."""
    values = [0.01, 0.0, 0.01, 0.0, 0.01]
    plain = replace(
        table(values, undrawn=0.02, spoilers=SPOILERS[:1]), hypotheses=(table(values).hypotheses[3],)
    )
    found = posterior(replace(plain, healthy=0))
    assert found.spoiled[0] > 0.9


def test_readings_that_fit_no_drawing_say_so() -> None:
    found = posterior(table([14.0, 1.0, 13.5, 9.0, 0.3], undrawn=0.02))
    assert found.undrawn > 0.9
    assert found.unexplained.is_so
    one_slip = posterior(table([12.6, 1.0, 12.6 * 0.8, 12.6 * 0.25, 12.6 * 0.65], undrawn=0.02))
    assert one_slip.undrawn < 0.5
    assert not one_slip.unexplained.is_so
    assert one_slip.doubtful is not None and one_slip.doubtful.line == 2


def test_a_drawing_wrong_about_some_places_is_told_by_what_contradicts_it() -> None:
    """One wire drawn wrong leaves most readings right: four of ten that no cause gives are no slips."""
    taps = np.array([1.0, 0.5, 0.8, 0.25, 0.65, 0.9, 0.35, 0.7, 0.45, 0.6])
    loads = [
        Hypothesis(
            f"r{k}", 0.1,
            Prediction(np.outer(12.6 * q / (q + OHM), taps), others=np.full((len(OHM), len(taps), 2), 12.6)),
            GRID,
        )
        for k, q in enumerate((2.0, 6.0, 40.0))
    ]  # fmt: skip
    places = other_weights(1, 1)  # a lead in the wrong place mostly reads what such a place does
    fits = 12.6 * 6 / (6 + 3.0) * taps

    def told(odd: dict[int, float]) -> float:
        values = [odd.get(i, float(v)) for i, v in enumerate(fits)]
        readings = tuple(Reading(v, 0.05, other_weights=places, line=i + 1) for i, v in enumerate(values))
        return posterior(Table(tuple(loads), readings, undrawn=0.02)).undrawn

    none, one, four = told({}), told({6: 9.0}), told({6: 9.0, 1: 0.4, 8: 7.7, 3: 5.0})
    assert none < 0.005
    assert one < 0.2
    assert four > 0.9


def test_not_as_drawn_is_the_average_over_the_shares_of_places_that_are_wrong() -> None:
    """By hand, for one cause of one row: a reading as drawn, or by half as there and by half anything."""
    readings = (Reading(12.1, 0.1, span=(0.0, 15.0)), Reading(3.0, 0.1, span=(0.0, 15.0)))
    t = Table((Hypothesis("a", 1.0, Prediction(np.array([[12.0, 6.0]]))),), readings, undrawn=0.02)
    good = np.exp(-0.5 * (np.array([0.1, 3.0]) / 0.1) ** 2) / (0.1 * np.sqrt(2 * np.pi))
    off = LIKE_DRAWN * good + (1 - LIKE_DRAWN) / 15.0
    each = [(1 - q) * good + q * off for q in ASTRAY]
    whole, without = undrawn_evidence(t, np.ones(1))
    assert np.exp(whole) == pytest.approx(np.mean([x.prod() for x in each]))
    assert np.exp(without) == pytest.approx([np.mean([x[1] for x in each]), np.mean([x[0] for x in each])])


def test_a_reading_left_out_is_as_if_never_taken() -> None:
    t = table([8.4, 4.2, 2.0, 2.1, 5.46], undrawn=0.02)
    for i, c in enumerate(contributions(posterior(t))):
        assert c.without == pytest.approx(posterior(t.without(reading=i)).probability, abs=1e-9)


def test_the_order_of_readings_changes_nothing() -> None:
    t = table([8.4, 4.2, 2.0, 2.1, 5.46], undrawn=0.02, spoilers=SPOILERS)
    a, b = posterior(t), posterior(t.select([4, 2, 0, 1, 3], []))
    assert a.probability == pytest.approx(b.probability, abs=1e-9)
    assert a.undrawn == pytest.approx(b.undrawn, abs=1e-9)
    assert a.spoiled == pytest.approx(b.spoiled, abs=1e-9)
