"""The base rule: information about repair groups per minute, moves and waits in the denominator."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np

from amptrail.plan.tables import Array, Problem, Where, Whole

LARGE = 400_000  # table entries from which the compiled loop pays


def bits(belief: Array, outcome: Array) -> Array:
    """Information of each test about the hypotheses themselves, bits."""
    return group_bits(belief, np.arange(len(belief)), outcome)


def group_bits(belief: Array, group: Whole, outcome: Array) -> Array:
    """Information of each test (outcome[h, t, c]) about the repair group, bits [t]."""
    live = belief > 0
    b, o = belief[live], outcome[live]
    g = np.unique(group[live], return_inverse=True)[1].reshape(-1).astype(np.int64)
    if o.size >= LARGE:
        return np.asarray(_compiled()(b, g, np.ascontiguousarray(o)), np.float64)
    order = np.argsort(g, kind="stable")
    weighted = b[order, None, None] * o[order]
    starts = np.flatnonzero(np.concatenate([[True], np.diff(g[order]) > 0]))
    joint = np.add.reduceat(weighted, starts, axis=0)
    mass = joint.sum(axis=2, keepdims=True)
    total = joint.sum(axis=0)
    value = plogp(joint).sum(axis=(0, 2)) - plogp(mass).sum(axis=(0, 2)) - plogp(total).sum(axis=1)
    return np.asarray(np.maximum(value, 0.0), np.float64)


def plogp(p: Array) -> Array:
    """p log2 p, 0 at 0."""
    return np.asarray(p * np.log2(np.where(p > 0, p, 1.0)), np.float64)


@cache
def _compiled() -> Callable[[Array, Whole, Array], Array]:
    from amptrail.plan.kernel import group_bits_loop

    return group_bits_loop


def rates(p: Problem, belief: Array, at: Where) -> tuple[Array, Array]:
    """(bits on repair groups, bits per minute from here) of every test; disallowed tests rate 0."""
    info = group_bits(belief, p.group, p.tests.outcome)
    return info, info / p.prices(at)


def update(belief: Array, outcome: Array, test: int, result: int) -> Array:
    """Belief after one outcome."""
    new = belief * outcome[:, test, result]
    return np.asarray(new / new.sum(), np.float64)


def group_mass(p: Problem, belief: Array) -> Array:
    """Probability of each repair group."""
    return np.bincount(p.group, weights=belief, minlength=int(p.group.max()) + 1).astype(np.float64)
