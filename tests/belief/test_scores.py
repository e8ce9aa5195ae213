"""Scores: documented values of a common library (from memory) and recomputed splits."""

from __future__ import annotations

import numpy as np
import pytest

from amptrail.belief.scores import brier, excess_nats, list_brier, log_score, murphy


def test_brier_documented_value() -> None:
    assert brier(np.array([0, 1, 1, 0.0]), np.array([0.1, 0.9, 0.8, 0.3])) == pytest.approx(0.0375)


def test_murphy_split() -> None:
    truth = np.concatenate([np.arange(10) < k for k in (1, 5, 7)]).astype(float)
    forecast = np.repeat([0.1, 0.5, 0.9], 10)
    split = murphy(truth, forecast)
    assert split.reliability == pytest.approx(0.013333, abs=5e-7)
    assert split.resolution == pytest.approx(0.062222, abs=5e-7)
    assert split.uncertainty == pytest.approx(0.245556, abs=5e-7)
    assert split.brier == pytest.approx(brier(truth, forecast))


def test_ranked_list() -> None:
    p = np.array([0.60, 0.25, 0.10, 0.05])
    assert log_score(p, 0) == pytest.approx(0.510826, abs=5e-7)
    assert list_brier(p, 0) == pytest.approx(0.235)
    assert list_brier(np.full(4, 0.25), 2) == pytest.approx(0.75)
    assert log_score(np.full(4, 0.25), 2) == pytest.approx(1.386294, abs=5e-7)


def test_excess_tells_calibrated_from_over_confident() -> None:
    rng = np.random.default_rng(17)
    p = rng.dirichlet(np.ones(6), 20_000)
    true = (rng.random((20_000, 1)) > p.cumsum(axis=1)).sum(axis=1).clip(max=5)
    sharp = p**2 / (p**2).sum(axis=1, keepdims=True)
    assert abs(excess_nats(p, true)) < 0.02
    assert excess_nats(sharp, true) > 0.3
