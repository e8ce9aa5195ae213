"""The compiled sum over wrong readings against the same sum in plain arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from set_sums import together

from amptrail.belief.likelihood import _together


@settings(max_examples=80, deadline=None)
@given(st.integers(1, 9), st.integers(0, 2**32), st.floats(0.0, 4.0))
def test_both_ways_give_the_same(m: int, seed: int, spread: float) -> None:
    rng = np.random.default_rng(seed)
    root = rng.normal(0, 0.3, (6, m, m))
    cov = root @ root.swapaxes(1, 2) + np.eye(m) * 0.05
    residual, bad = rng.normal(0, spread, (6, m)), rng.normal(-3, 2, (6, m))
    share = rng.uniform(0.0, 0.4, m)
    mine, theirs = (f(share, residual, cov, bad) for f in (_together, together))
    for name in ("log_likelihood", "wrong", "z", "chi2"):
        assert np.allclose(getattr(mine, name), getattr(theirs, name), rtol=1e-9, atol=1e-9), name


@pytest.mark.parametrize("m", [1, 3, 7])
def test_a_reading_that_cannot_be_wrong_and_rows_without_any(m: int) -> None:
    share = np.zeros(m)
    got = _together(share, np.ones((2, m)), np.stack([np.eye(m)] * 2), np.full((2, m), -1.0))
    assert np.allclose(got.wrong, 0) and np.isfinite(got.log_likelihood).all()
    assert np.allclose(got.chi2, m)
    assert _together(share, np.ones((0, m)), np.zeros((0, m, m)), np.ones((0, m))).log_likelihood.shape == (
        0,
    )
