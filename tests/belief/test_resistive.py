"""Hand-made resistive circuits: rank-one updates, ambiguity groups, and the integral against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import multivariate_normal, norm, qmc

from amptrail.belief import Grid, Hypothesis, Prediction, Reading, Table, equivalent, posterior, single_grid

Array = NDArray[np.float64]


def ladder(series_ohm: Array) -> Array:
    """Node volts 1..4 of a ladder: 12.6 V behind 0.02 ohm,
    three segments, 100 ohm at node 2, 4 ohm at node 4. series_ohm [n, 4] = source, 1-2, 2-3, 3-4."""
    g = 1 / series_ohm
    n = len(g)
    a = np.zeros((n, 4, 4))
    for k in range(1, 4):
        a[:, k - 1, k - 1] += g[:, k]
        a[:, k, k] += g[:, k]
        a[:, k - 1, k] -= g[:, k]
        a[:, k, k - 1] -= g[:, k]
    a[:, 0, 0] += g[:, 0]
    a[:, 1, 1] += 1 / 100
    a[:, 3, 3] += 1 / 4
    b = np.zeros((n, 4))
    b[:, 0] = 12.6 * g[:, 0]
    return np.linalg.solve(a, b[..., None])[..., 0]


HEALTHY = np.array([[0.02, 0.05, 0.05, 0.05]])


def test_rank_one_fault_values() -> None:
    """Sherman-Morrison (Bandler & Salama, Proc. IEEE 73(8) 1985, from memory; circuit ours, recomputed)."""
    a = ladder(HEALTHY)[0]
    assert a == pytest.approx([12.537134, 12.379969, 12.228993, 12.078018], abs=5e-7)
    worse = ladder(HEALTHY + np.array([[0, 0, 0.5, 0]]))[0]
    assert worse == pytest.approx([12.543595, 12.402583, 10.919666, 10.784855], abs=5e-7)


@pytest.mark.parametrize(("nodes", "groups"), [([3], 1), ([1, 3], 2), ([0, 1, 2, 3], 4)])
def test_ambiguity_groups_follow_the_nodes_read(nodes: list[int], groups: int) -> None:
    """Stenbakken, Souders & Stewart 1989 (from memory): four series resistances and a known load; reading the
    end alone gives rank 1, the middle too 2, every node 4."""
    ohm = np.geomspace(0.01, 100, 17)
    at = []
    for segment in range(4):
        series = np.full((17, 4), 0.05)
        series[:, segment] += ohm
        current = 12.6 / (series.sum(axis=1) + 4)
        at.append((12.6 - current[:, None] * np.cumsum(series, axis=1))[:, nodes])
    rows = np.stack(at)
    found = equivalent(rows.min(axis=1), rows.max(axis=1), np.full(len(nodes), 0.01))
    assert len(found) == groups
    assert sorted(h for g in found for h in g) == [0, 1, 2, 3]


def test_alike_at_every_point_read_shares_the_probability() -> None:
    grid = single_grid(0.01, 100)
    hypotheses = []
    for segment in range(1, 4):
        series = np.repeat(HEALTHY, 17, axis=0)
        series[:, segment] += 10 ** grid.axes[0]
        hypotheses.append(Hypothesis(f"segment {segment}", 0.1, Prediction(ladder(series)[:, [3]]), grid))
    p = posterior(Table(tuple(hypotheses), (Reading(10.8, 0.02),))).probability
    assert p[1] == pytest.approx(p[2], rel=1e-3)
    assert p.sum() == pytest.approx(1.0, abs=1e-12)


def _case(rng: np.random.Generator) -> tuple[float, float]:
    """(belief's log-evidence, Sobol's) for one random divider with two tolerances and 1-3 readings."""
    feed, load, battery = rng.uniform(0.02, 0.5), rng.uniform(2, 40), rng.uniform(11.5, 14.5)
    m = int(rng.integers(1, 4))
    tap = rng.uniform(0.1, 0.9, m)
    where = rng.integers(0, 3, m)

    def volts(log_ohm: Array, scale: Array) -> Array:
        """Taps: before the fault, after it, across part of the load. scale: wire, load (1 = nominal)."""
        r, w, q = 10**log_ohm, feed * scale[:, 0], load * scale[:, 1]
        i = battery / (w + r + q)
        before, after = battery - i * w, i * q
        return np.stack(
            [np.choose(k, [before, after, after * t]) for k, t in zip(where, tap, strict=True)], axis=1
        )

    relative = np.array([0.05, 0.1])
    sigma = rng.uniform(0.01, 0.1, m)
    truth_ohm, truth_scale = rng.uniform(-2, 3, 1), 1 + relative * rng.normal(size=(1, 2))
    value = volts(truth_ohm, truth_scale)[0] + sigma * rng.normal(size=m)
    misprobe = 0.03
    grid = single_grid(0.01, 1000)
    x = grid.axes[0]
    one, step = np.ones((17, 2)), 1e-5
    slope = np.stack(
        [(volts(x, one + step * e) - volts(x, one - step * e)) / (2 * step) for e in np.eye(2)], axis=2
    )
    cov = np.einsum("gmp,p,gnp->gmn", slope, relative**2, slope)
    readings = tuple(Reading(float(v), float(s), misprobe) for v, s in zip(value, sigma, strict=True))
    got = posterior(
        Table((Hypothesis("fault", 1.0, Prediction(volts(x, one), cov), grid),), readings)
    ).evidence_nats
    u = qmc.Sobol(3, seed=rng).random(2**17)
    at = volts(-2 + 5 * u[:, 0], 1 + relative * norm.ppf(np.clip(u[:, 1:], 1e-12, 1 - 1e-12)))
    good = np.exp(-0.5 * ((value - at) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    like = ((1 - misprobe) * good + misprobe / 15.0).prod(axis=1)
    return got, float(np.log(like.mean()))


def test_log_evidence_against_quasi_random_integration() -> None:
    """NUMERICS, rule for hypotheses: 0.3 nat rms, 1.5 worst, against 2^17 Sobol points on 60 random cases."""
    rng = np.random.default_rng(20261125)
    error = np.array([a - b for a, b in (_case(rng) for _ in range(60))])
    rms, worst = float(np.sqrt((error**2).mean())), float(np.abs(error).max())
    print(f"log-evidence: rms {rms:.3f} nat, worst {worst:.3f} nat (60 cases, 2^17 Sobol points)")
    assert rms <= 0.3
    assert worst <= 1.5


def test_a_reading_sharper_than_the_grid_is_not_missed() -> None:
    grid = Grid((np.linspace(-2, 3, 17),))
    ohm = 10 ** grid.axes[0]
    mean = (12 * 10 / (10 + ohm))[:, None]
    table = Table((Hypothesis("feed", 1.0, Prediction(mean), grid),), (Reading(6.0, 1e-4, misprobe=0.001),))
    found = posterior(table).severity[0]
    assert found is not None
    assert found.low < 10.0 < found.high
    assert found.high / found.low < 1.2


def test_correlated_tolerances_stay_shared() -> None:
    """Two readings off together by one shared tolerance are far likelier than off apart."""
    cov = np.array([[[0.04, 0.04], [0.04, 0.04]]])
    h = Hypothesis("h", 1.0, Prediction(np.array([[6.0, 6.0]]), cov))

    def evidence(a: float, b: float) -> float:
        return posterior(Table((h,), (Reading(a, 0.01, 0.0), Reading(b, 0.01, 0.0)))).evidence_nats

    together = multivariate_normal.logpdf([0.3, 0.3], cov=cov[0] + np.eye(2) * 1e-4)
    assert evidence(6.3, 6.3) == pytest.approx(float(together), abs=1e-9)
    assert evidence(6.3, 6.3) > evidence(6.3, 5.7) + 100
