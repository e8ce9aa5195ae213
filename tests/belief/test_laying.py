"""The compiled layout of a table against plain numpy, on drawn hypotheses of every kind of grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.belief.plain_layout import plain

from amptrail.belief import Grid, Hypothesis, Prediction
from amptrail.belief.layout import lay
from amptrail.belief.tables import Array


def _grid(rng: np.random.Generator, axes: int) -> Grid:
    if axes == 0:
        return Grid()
    if axes == 2:
        parts = (np.linspace(-2.0, 3.0, 9), np.linspace(0.0, 5.0, int(rng.integers(2, 10))))
        size = len(parts[0]) * len(parts[1])
        # a state beyond a line across both severities, as a fuse that blows
        slope, at = rng.normal(size=2)
        x, y = np.meshgrid(*parts, indexing="ij")
        beyond = (x + slope * y > at).ravel().astype(np.int64)
        segment = None if rng.random() < 0.5 else beyond
        assert segment is None or len(segment) == size
        return Grid(parts, segment)
    axis = np.sort(rng.uniform(-3.0, 4.0, int(rng.integers(2, 18))))
    if rng.random() < 0.4 or len(axis) < 3:
        return Grid((axis,))
    change = np.sort(rng.choice(len(axis) - 1, size=min(2, len(axis) - 1), replace=False))
    segment = np.zeros(len(axis), np.int64)
    for i in change:
        segment[i + 1 :] += 1
    return Grid((axis,), segment, tuple(float((axis[i] + axis[i + 1]) / 2) for i in change))


def _drawn(rng: np.random.Generator, m: int, k: int, w: int) -> Hypothesis:
    grid = _grid(rng, int(rng.integers(0, 3)))
    g = grid.size
    mean = np.cumsum(rng.normal(scale=rng.choice([0.02, 1.0]), size=(g, m)), axis=0)
    root = rng.normal(scale=0.2, size=(g, m, m))
    return Hypothesis(
        "h", 1.0,
        Prediction(
            mean,
            None if rng.random() < 0.2 else root @ root.transpose(0, 2, 1),
            None if rng.random() < 0.2 else rng.normal(5.0, 3.0, size=(g, m, k)),
            np.log(rng.random((g, w)) + 1e-6) if w else None,
        ),
        grid,
    )  # fmt: skip


def _far_apart(a: Array, b: Array) -> float:
    return float(np.abs(a - b).max(initial=0.0))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 4), st.integers(0, 2))
def test_rows_are_those_of_plain_numpy(seed: int, m: int, w: int) -> None:
    rng = np.random.default_rng(seed)
    some = tuple(_drawn(rng, m, 3, w) for _ in range(4))
    sigma = tuple(rng.uniform(0.01, 0.3, m).tolist())
    got = lay(some, sigma, w)
    k = max(0 if h.prediction.others is None else 3 for h in some)
    for h, hypothesis in enumerate(some):
        want, s = plain(hypothesis, sigma, (k, w)), got.rows(h)
        assert got.row_of[h].tolist() == want.row_of.tolist()
        assert got.log_weight[s] == pytest.approx(want.log_weight, abs=1e-12)
        assert _far_apart(got.mean[s], want.mean) < 1e-10
        assert _far_apart(got.cov[s], want.cov) < 1e-10
        assert _far_apart(got.words[s], want.words) < 1e-10
        if k and m:
            assert got.others is not None
            assert got.others[s] == pytest.approx(want.others, rel=1e-9, abs=1e-9)
