"""Hopes of pairs, compiled, beside the same sum in plain numpy."""

from __future__ import annotations

import numpy as np

from amptrail.belief.hoping import (
    BENT_A,
    BENT_SHARE,
    BENT_V,
    CURVED,
    HALF_WAY,
    LEAST,
    OFF_SHARE,
    OFF_V,
    WORTH_NATS,
    add_hopes,
    best_pairs,
)


def _steps(value: np.ndarray, owner: np.ndarray, seconds_owner: np.ndarray) -> np.ndarray:
    """The larger step to a neighbouring severity, either way."""
    out = np.zeros(value.shape)
    for axis, mine in ((0, owner), (1, seconds_owner)):
        step = np.abs(np.nan_to_num(np.diff(value, axis=axis)))
        same = (mine[1:] == mine[:-1]).reshape([-1 if k == axis else 1 for k in range(3)])
        step = np.where(same, step, 0.0)
        none = np.zeros_like(np.take(value, [0], axis=axis))
        for side in (np.concatenate([none, step], axis=axis), np.concatenate([step, none], axis=axis)):
            out = np.maximum(out, side)
    return out


def test_compiled_hopes_are_the_plain_ones() -> None:
    rng = np.random.default_rng(7)
    lanes, faults, count = 9, 11, 3
    owner, seconds_owner = np.array([0, 0, 0, 1, 2, 2, 2, 2, 3]), np.array([0, 1, 1, 1, 2, 2, 2, 2, 2, 3, 4])
    value = rng.uniform(0.0, 14.0, (lanes, faults, count))
    value[rng.random(value.shape) < 0.1] = np.nan
    source = 10.0 ** rng.uniform(-2.0, 9.0, value.shape)
    mean, sigma = rng.uniform(0.0, 14.0, (lanes, count)), rng.uniform(0.0, 0.4, (lanes, count))
    value[:, :5] = 6.0 + rng.normal(0.0, 0.5, (lanes, 5, count))  # near the readings
    usual, read, own = rng.uniform(0, 0.03, count), rng.uniform(5, 7, count), rng.uniform(1e-4, 0.01, count)
    slip = np.full(count, 0.03 / 16)
    alone, second = rng.uniform(-7.0, 3.0, (lanes, count)), rng.uniform(-7.0, 3.0, (faults, count))
    got = np.zeros((lanes, faults))
    add_hopes(
        value, source, mean, sigma, usual, read, own, slip, alone, second, owner, seconds_owner, got, 0, lanes
    )

    size, off, blind = np.abs(value), read - value, np.isnan(value)
    beside = np.minimum(1.0, size / np.maximum(np.abs(mean), 1e-3)[:, None]) * sigma[:, None]
    var = own + np.maximum(usual * size, beside) ** 2
    bent = np.minimum(BENT_A * source, BENT_V)

    def worth(miss: np.ndarray, v: np.ndarray, b: np.ndarray) -> np.ndarray:
        """ln of the sum of what a reading may be."""

        def bell(w: np.ndarray) -> np.ndarray:
            return np.asarray(np.exp(-0.5 * miss**2 / w) / np.sqrt(2 * np.pi * w))

        p = slip + LEAST + OFF_SHARE / (2 * OFF_V) * np.exp(-np.abs(miss) / OFF_V)
        return np.asarray(np.log(p + (1 - OFF_SHARE - BENT_SHARE) * bell(v) + BENT_SHARE * bell(v + b**2)))

    doubt = 0.25 * _steps(value, owner, seconds_owner) ** 2
    want = np.where(blind, 0.0, worth(off, var + doubt, bent)).sum(axis=2)
    rest = np.where(blind, np.maximum(alone[:, None], second[None]), 0.0).sum(axis=2)
    for n in range(lanes):
        for f in range(faults):
            if want[n, f] <= WORTH_NATS * count:
                continue
            near = [(n + d, f) for d in (1, -1) if 0 <= n + d < lanes and owner[n + d] == owner[n]]
            near += [
                (n, f + d) for d in (1, -1)
                if 0 <= f + d < faults and seconds_owner[f + d] == seconds_owner[f]
            ]  # fmt: skip
            for at in near:
                step = np.nan_to_num(value[at] - value[n, f])
                v = np.where(blind[n, f], 1.0, var[n, f] + (CURVED * step) ** 2)
                o = np.where(blind[n, f], 0.0, off[n, f])
                way = (o * step / v).sum() / (1 / HALF_WAY + (step**2 / v).sum())
                moved = o - min(max(way, 0.0), HALF_WAY) * step
                between = np.where(blind[n, f], 0.0, worth(moved, v, bent[n, f])).sum()
                want[n, f] = max(want[n, f], between)
    assert np.allclose(got, want + rest, rtol=1e-12, atol=1e-12)

    best = best_pairs(got, owner, seconds_owner, 5)
    for i in range(4):
        for j in range(5):
            assert best[i, j] == got[np.ix_(owner == i, seconds_owner == j)].max()
    assert np.isneginf(best[4]).all()


def test_a_reading_as_looked_for_is_worth_more_the_finer_the_severities() -> None:
    """Half a step to the next severity is doubt: what lies between them is not looked at."""
    worth = []
    for step in (0.1, 1.0, 5.0):
        value = np.array([[[6.0], [6.0 + step]]])
        zero, one = np.zeros((1, 1)), np.zeros(1)
        out = np.zeros((1, 2))
        add_hopes(
            value, np.zeros(value.shape), zero, zero, one, np.array([6.0]), np.array([1e-4]),
            np.array([1e-3]), zero, np.zeros((2, 1)), np.array([0]), np.array([0, 0]), out, 0, 1,
        )  # fmt: skip
        worth.append(out[0, 0])
    assert worth[0] > worth[1] > worth[2]
