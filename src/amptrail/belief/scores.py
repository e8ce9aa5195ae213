"""How good stated probabilities were, once the truth is known (used by calibration)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from amptrail.belief.tables import Array


@dataclass(frozen=True)
class Murphy:
    """Brier score split: brier = reliability - resolution + uncertainty (Murphy 1973, from memory)."""

    reliability: float
    resolution: float
    uncertainty: float

    @property
    def brier(self) -> float:
        """The Brier score the parts add up to."""
        return self.reliability - self.resolution + self.uncertainty


def brier(truth: Array, forecast: Array) -> float:
    """Mean squared error of yes/no forecasts (truth 0 or 1)."""
    return float(np.mean((forecast - truth) ** 2))


def list_brier(probability: Array, true: int) -> float:
    """Brier score of one ranked list: squared error summed over all its entries."""
    hit = np.zeros(len(probability))
    hit[true] = 1.0
    return float(((probability - hit) ** 2).sum())


def log_score(probability: Array, true: int) -> float:
    """Nats lost: minus the log of what the truth was given."""
    return -float(np.log(max(float(probability[true]), 1e-300)))


def murphy(truth: Array, forecast: Array) -> Murphy:
    """The split over the distinct forecast values."""
    base = float(truth.mean())
    reliability = resolution = 0.0
    for f in np.unique(forecast):
        hits = truth[forecast == f]
        reliability += len(hits) * (f - hits.mean()) ** 2
        resolution += len(hits) * (hits.mean() - base) ** 2
    n = len(truth)
    return Murphy(float(reliability) / n, float(resolution) / n, base * (1 - base))


def excess_nats(probability: Array, true: Array) -> float:
    """Mean log score minus mean entropy over jobs (probability [jobs, k]): 0 when calibrated; no bins."""
    p = np.maximum(probability, 1e-300)
    scored = -np.log(p[np.arange(len(true)), true])
    return float(np.mean(scored + (probability * np.log(p)).sum(axis=1)))
