"""Laws of belief: sums to one, order does not matter, wrong readings are doubted, intermittents stay."""

from __future__ import annotations

import ast
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2, multivariate_normal

from amptrail.belief import (
    Grid,
    Hypothesis,
    Prediction,
    Reading,
    Table,
    Word,
    active_pairs,
    contributions,
    double_grid,
    normalise,
    posterior,
    senses,
    single_grid,
    where_to_refine,
)
from amptrail.belief.chance import chi2_tail, count_log_likelihood
from amptrail.belief.likelihood import weigh, wrong_density
from amptrail.errors import InputError

GRID = single_grid(0.01, 1000)
OHM = 10 ** GRID.axes[0]


def divider(load_ohm: float, taps: tuple[float, ...]) -> Prediction:
    volts = 12.6 * load_ohm / (load_ohm + OHM)
    return Prediction(np.stack([volts * t for t in taps], axis=1))


def table(values: tuple[float, ...], order: list[int] | None = None, **reading: float) -> Table:
    taps = (1.0, 0.5, 0.8, 0.25)[: len(values)]
    hypotheses = [
        Hypothesis(f"r{k}", 0.1, divider(load, taps), GRID) for k, load in enumerate((2.0, 6.0, 40.0))
    ]
    hypotheses.append(Hypothesis("nothing", 0.7, Prediction(np.array([[12.6 * t for t in taps]]))))
    readings = tuple(Reading(v, 0.05, line=i + 1, **reading) for i, v in enumerate(values))  # type: ignore[arg-type]
    t = Table(tuple(hypotheses), readings, healthy=3)
    return t if order is None else t.select(order, [])


@given(st.lists(st.floats(0, 14), min_size=1, max_size=4), st.randoms())
@settings(max_examples=40, deadline=None)
def test_sums_to_one_in_any_order(values: list[float], random: object) -> None:
    order = list(range(len(values)))
    random.shuffle(order)  # type: ignore[attr-defined]
    a, b = posterior(table(tuple(values))), posterior(table(tuple(values), order))
    assert a.probability.sum() == pytest.approx(1.0, abs=1e-9)
    assert np.abs(a.probability - b.probability).max() < 1e-9
    assert np.isfinite(a.evidence_nats)
    assert 0 <= a.unexplained.p_value <= 1


@given(st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_misprobe_sum_is_exact_for_three_readings(seed: int) -> None:
    """Against the plain sum over every subset of wrong readings."""
    rng = np.random.default_rng(seed)
    readings = tuple(Reading(5.0, 0.1, misprobe=s) for s in rng.uniform(0.01, 0.3, 3))
    a = rng.normal(size=(3, 3))
    cov, residual = a @ a.T * 0.1 + np.eye(3) * 0.01, rng.normal(size=3)
    bad = wrong_density(readings, None, 1)
    total = 0.0
    for wrong in product([False, True], repeat=3):
        good = [i for i in range(3) if not wrong[i]]
        term = np.prod([r.misprobe if w else 1 - r.misprobe for r, w in zip(readings, wrong, strict=True)])
        term *= np.exp(sum(bad[0, i] for i in range(3) if wrong[i]))
        if good:
            term *= multivariate_normal.pdf(residual[good], cov=cov[np.ix_(good, good)])
        total += float(term)
    got = weigh(readings, residual[None], cov[None], bad).log_likelihood[0]
    assert got == pytest.approx(np.log(total), abs=1e-7)


def test_severity_is_estimated_and_the_odd_reading_doubted() -> None:
    truth = 12.6 * 6 / (6 + 3.0)
    found = posterior(table((truth, truth * 0.5, 2.0, truth * 0.25)))
    assert found.doubtful is not None
    assert found.doubtful.line == 3
    assert found.unexplained.worst_line == 3
    best = found.severity[1]
    assert best is not None and best.low < 3.0 < best.high
    good = posterior(table((truth, truth * 0.5, truth * 0.8, truth * 0.25)))
    assert good.doubtful is None
    assert not good.unexplained.is_so


def test_nothing_fits_is_said_not_hidden() -> None:
    bad = posterior(table((14.0, 1.0, 13.5, 9.0)))
    assert bad.unexplained.is_so
    assert bad.unexplained.p_value < 1e-6


def test_healthy_readings_leave_nothing_broken() -> None:
    found = posterior(table((12.6, 6.3, 10.08)))
    assert found.nothing_broken > 0.8


def test_impossible_evidence_is_an_input_error() -> None:
    with pytest.raises(InputError, match="cannot all be true"):
        normalise([0.5, 0.5], np.array([-np.inf, -np.inf]))
    with pytest.raises(InputError):
        posterior(Table((Hypothesis("h", 1.0, Prediction(np.array([[np.nan]]))),), (Reading(1.0, 0.1),)))
    with pytest.raises(InputError):
        posterior(Table(()))


def test_a_good_reading_while_it_works_never_clears_an_intermittent() -> None:
    healthy = Hypothesis("nothing", 0.5, Prediction(np.array([[12.0, 12.0]])))
    loose = Hypothesis("loose", 0.1, Prediction(np.array([[0.0, 0.0]])), showing=0.3)
    broken = Hypothesis("broken", 0.1, Prediction(np.array([[0.0, 0.0]])))
    fails = Reading(0.0, 0.05, state="fails", occasion=0)
    works = Reading(12.0, 0.05, state="works", occasion=1)
    both = posterior(Table((healthy, loose, broken), (fails, works), healthy=0))
    alone = posterior(Table((healthy, loose, broken), (fails, works), healthy=0).without(reading=1))
    assert both.probability[1] >= alone.probability[1]
    assert both.probability[1] > 0.9
    with pytest.raises(InputError, match="intermittent"):
        posterior(Table((loose,), (fails, works)))


def test_one_bad_reference_lead_spoils_the_run_together() -> None:
    """Three odd readings of one run cost one spoiled lead, not three misprobes."""
    mean = Prediction(np.full((1, 4), 12.0))
    one = [Reading(3.0 + k, 0.05, run="lead") for k in range(3)] + [Reading(12.0, 0.05)]
    apart = [Reading(3.0 + k, 0.05) for k in range(3)] + [Reading(12.0, 0.05)]
    h = (Hypothesis("h", 1.0, mean),)
    together, separate = posterior(Table(h, tuple(one))), posterior(Table(h, tuple(apart)))
    assert together.evidence_nats > separate.evidence_nats + 3
    assert together.reading_wrong[:3] == pytest.approx(1.0, abs=1e-3)
    assert together.reading_wrong[3] < 0.05


def test_a_neighbour_explains_a_wrong_reading_better_than_anything() -> None:
    near = Prediction(np.array([[12.0]]), others=np.array([[[5.0]]]))
    plain = Prediction(np.array([[12.0]]))
    r = (Reading(5.0, 0.05, other_weights=(0.6,)),)
    a = posterior(Table((Hypothesis("a", 0.5, near), Hypothesis("b", 0.5, plain)), r))
    assert a.probability[0] > 0.75


def test_segments_are_never_averaged() -> None:
    """12 V below 1 ohm, 0 V above (a relay drops): 6 V is then no reading of this fault at all."""
    x = np.linspace(-2, 2, 17)
    segment = (x > 0.1).astype(np.int64)
    grid = Grid((x,), segment, (0.1,))
    mean = np.where(segment == 0, 12.0, 0.0)[:, None]
    h = (
        Hypothesis("relay", 0.5, Prediction(mean), grid),
        Hypothesis("other", 0.5, Prediction(np.array([[6.0]]))),
    )
    assert posterior(Table(h, (Reading(6.0, 0.05),))).probability[0] < 0.01
    high = posterior(Table(h, (Reading(0.0, 0.05),))).severity[0]
    assert high is not None and high.low > 10**0.1 * 0.99


def test_doubles_are_integrated_over_both_severities() -> None:
    """Against a plain fine sum over both severities."""
    grid = double_grid((0.1, 10), (0.1, 10))
    a, b = 10 ** grid.axes[0], 10 ** grid.axes[1]

    def volts(r1: np.ndarray, r2: np.ndarray) -> np.ndarray:
        i = 12 / (r1 + r2 + 5)
        return np.stack([12 - i * r1, i * 5], axis=-1)

    mean = volts(a[:, None], b[None]).reshape(-1, 2)
    value = volts(np.array(1.3), np.array(2.1))
    readings = tuple(Reading(float(v), 0.05, 0.0) for v in value)
    found = posterior(Table((Hypothesis("two", 1.0, Prediction(mean), grid),), readings))
    fine = 10 ** (-1 + 2 * (np.arange(1000) + 0.5) / 1000)
    gap = (value - volts(fine[:, None], fine[None])) / 0.05
    like = np.exp(-0.5 * (gap**2).sum(axis=-1)) / (2 * np.pi * 0.05**2)
    assert found.evidence_nats == pytest.approx(np.log(like.mean()), abs=0.3)
    s = found.severity[0]
    assert s is not None and s.other is not None
    assert s.low < 1.3 < s.high and s.other.low < 2.1 < s.other.high


def test_what_a_reading_did_is_the_difference_to_the_posterior_without_it() -> None:
    """Singles, doubles, words, one that comes and goes: worked out once against all over again."""
    rng = np.random.default_rng(7)
    axis, both = single_grid(0.01, 1000), double_grid((0.01, 1000), (0.01, 1000), 5)
    told = ((6.0, "a"), (3.0, "a"), (11.0, ""))
    readings = tuple(Reading(v, 0.05, run=r, line=n) for n, (v, r) in enumerate(told))
    words = (Word(line=8), Word(line=9))

    def hypothesis(i: int, grid: Grid, showing: float) -> Hypothesis:
        g = grid.size
        mean = (
            12 * rng.uniform(0.1, 1, (1, 3)) * np.linspace(1, 0.2, g)[:, None]
            if g > 1
            else rng.uniform(0, 12, (1, 3))
        )
        root = rng.normal(0, 0.1, (g, 3, 3))
        cov = root @ root.swapaxes(1, 2)
        p = Prediction(mean, cov, rng.uniform(0, 12, (g, 3, 2)), np.log(rng.uniform(0.05, 0.95, (g, 2))))
        return Hypothesis(str(i), 1.0 + i, p, grid, showing=showing)

    made = [
        hypothesis(0, Grid(), 1.0),
        hypothesis(1, axis, 1.0),
        hypothesis(2, axis, 0.4),
        hypothesis(3, both, 1.0),
    ]
    t = Table(tuple(made), readings, words, 0)
    full = posterior(t)
    found = contributions(full)
    smaller = [t.without(reading=i) for i in range(3)] + [t.without(word=i) for i in range(2)]
    for c, less in zip(found, (posterior(x) for x in smaller), strict=True):
        assert np.allclose(c.without, less.probability, atol=1e-9)
        assert np.allclose(c.nats, full.log_evidence - less.log_evidence, atol=1e-9)
    assert [c.line for c in found] == [0, 1, 2, 8, 9]


def test_contributions_say_what_a_reading_ruled_out() -> None:
    t = Table(
        (
            Hypothesis("a", 0.5, Prediction(np.array([[12.0, 5.0]]))),
            Hypothesis("b", 0.5, Prediction(np.array([[12.0, 9.0]]))),
        ),
        (Reading(12.0, 0.05, line=1), Reading(5.0, 0.05, line=2)),
    )
    first, second = contributions(posterior(t))
    assert first.ruled_out == ()
    assert second.ruled_out == (1,)
    assert second.without == pytest.approx([0.5, 0.5])


def test_refinement_surrounds_the_mass() -> None:
    truth = 12.6 * 6 / (6 + 3.0)
    found = posterior(table((truth, truth * 0.5)))
    extra = where_to_refine(found)
    axis = extra[1][0]
    assert axis[0] < np.log10(3.0) < axis[-1]
    assert 3 not in extra


def test_active_pair_rule() -> None:
    active = np.array([True, True, False, False])
    assert np.argwhere(np.triu(active_pairs(active))).tolist() == [[0, 1]]
    assert np.argwhere(np.triu(active_pairs(active, best=(0,)))).tolist() == [[0, 1], [0, 2], [0, 3]]
    assert np.array_equal(active_pairs(active, best=(2,)), active_pairs(active, best=(2,)).T)


def test_words() -> None:
    lamp = senses.brightness([12.0, 6.0, 0.5], 12.0)
    assert [max(lamp, key=lambda w: lamp[w][i]) for i in range(3)] == ["bright", "dim", "dark"]
    assert sum(lamp.values()) == pytest.approx([1.0, 1.0, 1.0])
    assert senses.clicks([1, 0])["clicks"] == pytest.approx([0.95, 0.02])
    assert senses.works([12.0, 5.0], low=9.0)["works"][0] > 0.99
    dark = senses.word_column(lamp["dark"])
    h = tuple(
        Hypothesis(str(i), 1.0, Prediction(np.zeros((1, 0)), words=np.array([[dark[i]]]))) for i in range(3)
    )
    assert posterior(Table(h, words=(Word(),))).ranking()[0] == 2


@given(st.floats(0.01, 200), st.integers(1, 40))
def test_chi_square_tail(x: float, degrees: int) -> None:
    assert chi2_tail(x, degrees) == pytest.approx(float(chi2.sf(x, degrees)), rel=1e-8, abs=1e-14)


def test_count() -> None:
    assert count_log_likelihood(7, 10, 0.7) > count_log_likelihood(7, 10, 1.0)
    assert np.exp([count_log_likelihood(k, 10, 0.3) for k in range(11)]).sum() == pytest.approx(1.0)


def test_belief_and_plan_take_tables_only() -> None:
    root = Path(__file__).parents[2] / "src" / "amptrail"
    allowed = {"belief": ("belief", "errors"), "plan": ("plan", "belief", "errors")}
    for package, may in allowed.items():
        for file in (root / package).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("amptrail."):
                    assert (node.module or "").split(".")[1] in may, f"{file.name} imports {node.module}"


def test_many_readings_with_three_wrong_are_all_found() -> None:
    """Nine readings, three of them wrong: beyond the exact sum, the chain still finds them."""
    h = Hypothesis("h", 1.0, Prediction(np.full((1, 9), 12.0)))
    values = [12.0] * 9
    for i, v in ((1, 3.0), (4, 7.0), (8, 0.0)):
        values[i] = v
    found = posterior(Table((h,), tuple(Reading(v, 0.05) for v in values)))
    expected = 6 * (np.log(0.97) - np.log(0.05 * np.sqrt(2 * np.pi))) + 3 * np.log(0.03 / 15)
    assert found.evidence_nats == pytest.approx(expected, abs=0.05)
    assert np.flatnonzero(found.reading_wrong > 0.9).tolist() == [1, 4, 8]
