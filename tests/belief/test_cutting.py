"""The compiled cuts of a reading into outcomes against plain arrays, and their chances against scipy."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from amptrail.belief.cutting import APART_SIGMAS, MOST_CLASSES, chances, cut
from amptrail.belief.tables import Array


def _gaps(value: Array, weight: Array, sigma: float) -> list[float]:
    """Cuts in the middle of every gap wider than APART_SIGMAS, the widest first."""
    order = np.argsort(value, kind="stable")
    v, w = value[order], weight[order]
    keep = w > 1e-9
    v = v[keep]
    if len(v) < 2:
        return []
    gap = np.diff(v)
    wide = np.flatnonzero(gap > APART_SIGMAS * sigma)
    widest = wide[np.argsort(-gap[wide], kind="stable")][: MOST_CLASSES - 1]
    return sorted(float((v[i] + v[i + 1]) / 2) for i in widest)


def _halves(value: Array, weight: Array, cuts: list[float], sigma: float) -> list[float]:
    """More cuts where a class is a wide continuum: at its weighted median."""
    cuts = list(cuts)
    for _ in range(MOST_CLASSES):
        if len(cuts) >= MOST_CLASSES - 1:
            break
        edges = [-math.inf, *cuts, math.inf]
        best: tuple[float, float] | None = None
        for low, high in pairwise(edges):
            inside = (value >= low) & (value < high) & (weight > 1e-9)
            if not inside.any():
                continue
            v, w = value[inside], weight[inside]
            spread = float(v.max() - v.min())
            if spread > 2 * APART_SIGMAS * sigma and (best is None or spread * float(w.sum()) > best[0]):
                order = np.argsort(v, kind="stable")
                at = int(np.searchsorted(np.cumsum(w[order]), w.sum() / 2))
                best = (spread * float(w.sum()), float(v[order][min(at, len(v) - 1)]) + 1e-9)
        if best is None or best[1] in cuts:
            break
        cuts = sorted([*cuts, best[1]])
    return cuts


def _told(value: Array, mass: Array, edges: Array) -> tuple[Array, Array]:
    """The range of predictions inside each class (what to tell a person)."""
    low, high = np.empty(len(edges) - 1), np.empty(len(edges) - 1)
    for c in range(len(low)):
        inside = (value >= edges[c]) & (value < edges[c + 1]) & (mass > 1e-9)
        if inside.any():
            low[c], high[c] = value[inside].min(), value[inside].max()
        else:
            low[c] = high[c] = edges[c] if np.isfinite(edges[c]) else edges[c + 1]
    return low, high


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 30), st.integers(1, 5), st.sampled_from([0.01, 0.2, 2.0]))
def test_cut_and_counted_as_in_plain_arrays(seed: int, hypotheses: int, grid: int, sigma: float) -> None:
    rng = np.random.default_rng(seed)
    value = rng.choice(
        [rng.normal(6.0, 4.0, (hypotheses, grid)), rng.integers(0, 3, (hypotheses, grid)) * 6.0]
    )
    weight = rng.dirichlet(np.ones(grid), hypotheses)
    belief = rng.dirichlet(np.full(hypotheses, 0.3))
    flat, mass = value.ravel(), (weight * belief[:, None]).ravel()
    cuts = _halves(flat, mass, _gaps(flat, mass, sigma), sigma)
    wanted = np.asarray([-np.inf, *cuts, np.inf])
    edges, low, high = cut(value, weight, belief, sigma)
    assert edges == pytest.approx(wanted, abs=1e-12)
    assert [*low, *high] == pytest.approx([*np.concatenate(_told(flat, mass, wanted))], abs=1e-12)
    slip, spread = 0.02, 1.1 * sigma
    below = norm.cdf((edges[None, None, :] - value[:, :, None]) / spread)
    each = (np.diff(below, axis=2) * weight[:, :, None]).sum(axis=1)
    want = (1 - slip) * each / each.sum(axis=1, keepdims=True) + slip / each.shape[1]
    assert chances(value, weight, spread, edges, slip) == pytest.approx(want, abs=1e-9)
