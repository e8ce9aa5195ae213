"""The sum over wrong readings in plain arrays: what the compiled loop of belief is held against."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from amptrail.belief.likelihood import EXACT_UP_TO, LOG_2PI, Rows
from amptrail.belief.tables import Array


def together(share: Array, residual: Array, cov: Array, bad: Array) -> Rows:
    """All readings as one Gaussian with shared tolerances, and every likely set of them wrong."""
    m = residual.shape[1]
    precision = np.linalg.inv(cov)
    precision = (precision + precision.swapaxes(1, 2)) / 2
    log_det = np.linalg.slogdet(cov)[1]
    pull = np.einsum("nij,nj->ni", precision, residual)
    chi2 = np.einsum("ni,ni->n", pull, residual)
    z = pull / np.sqrt(np.einsum("nii->ni", precision))
    good = -0.5 * (chi2 + log_det + m * LOG_2PI) + np.log1p(-share).sum()
    with np.errstate(divide="ignore"):
        trade = bad + np.log(share) - np.log1p(-share)
    terms = _Gauss(cov, residual, precision, pull, good, np.log1p(-share).sum())
    total, wrong = _sum_over_wrong(terms, trade)
    return Rows(total, wrong, z, chi2, z)


@dataclass(frozen=True, eq=False)
class _Gauss:
    """One Gaussian both ways: covariance with residual r, precision K with pull = K r; `good`: all right."""

    cov: Array
    residual: Array
    precision: Array
    pull: Array
    good: Array
    log_right: float


def _sum_over_wrong(g: _Gauss, trade: Array) -> tuple[Array, Array]:
    """Log of the sum over sets of wrong readings, and the chance [n, m] that each reading is wrong."""
    m = g.pull.shape[1]
    largest = m if m <= EXACT_UP_TO else 2
    sets = [b for k in range(largest + 1) for b in combinations(range(m), k)]
    terms = [_set_term(g, trade, b) for b in sets]
    member = np.asarray([[j in b for j in range(m)] for b in sets], float)
    chain, masks = _chain(g.precision, g.pull, g.good, trade, largest) if largest < m else ([], [])
    stack = np.stack(terms + chain)
    top = stack.max(axis=0)
    share = np.exp(stack - top)
    total = share.sum(axis=0)
    wrong = share[: len(sets)].T @ member
    if chain:
        wrong = wrong + np.einsum("tn,tnm->nm", share[len(sets) :], np.stack(masks))
    return top + np.log(total), wrong / total[:, None]


def _set_term(g: _Gauss, trade: Array, wrong: tuple[int, ...]) -> Array:
    """Log-likelihood with exactly these readings wrong: by their density given the rest (few wrong) or
    straight from the marginal of the rest (few right), whichever needs the smaller matrix."""
    m = g.pull.shape[1]
    right = tuple(j for j in range(m) if j not in wrong)
    swapped = trade[:, list(wrong)].sum(axis=1)
    if len(wrong) <= len(right):
        log_det, quadratic = _form(g.precision, g.pull, wrong)
        return np.asarray(g.good + 0.5 * (quadratic - log_det + len(wrong) * LOG_2PI) + swapped, np.float64)
    log_det, quadratic = _form(g.cov, g.residual, right)
    return np.asarray(g.log_right - 0.5 * (quadratic + log_det + len(right) * LOG_2PI) + swapped, np.float64)


def _form(matrix: Array, vector: Array, which: tuple[int, ...]) -> tuple[Array, Array]:
    """(log-determinant of the block, v' block^-1 v); closed for one and two, the usual case."""
    if not which:
        return np.zeros(len(vector)), np.zeros(len(vector))
    if len(which) == 1:
        a, p = matrix[:, which[0], which[0]], vector[:, which[0]]
        return np.log(a), p * p / a
    if len(which) == 2:
        i, j = which
        a, b, c, p, q = matrix[:, i, i], matrix[:, i, j], matrix[:, j, j], vector[:, i], vector[:, j]
        det = np.maximum(a * c - b * b, 1e-14 * a * c)  # rounding must not make it negative
        return np.log(det), (c * p * p - 2 * b * p * q + a * q * q) / det
    index = np.asarray(which, np.intp)
    block, v = matrix[:, index[:, None], index], vector[:, index]
    solved = np.linalg.solve(block, v[..., None])[..., 0]
    return np.linalg.slogdet(block)[1], np.einsum("ni,ni->n", v, solved)


def _chain(K: Array, pull: Array, log_p: Array, trade: Array, beyond: int) -> tuple[list[Array], list[Array]]:
    """Terms and masks of larger wrong sets: the loss that helps most stays, each of the others is tried."""
    n, m = pull.shape
    K, pull, log_p = K.copy(), pull.copy(), log_p.copy()
    dropped = np.zeros((n, m), bool)
    row = np.arange(n)
    terms: list[Array] = []
    masks: list[Array] = []
    for size in range(1, m + 1):
        diag = np.where(dropped, 1.0, np.einsum("nii->ni", K))
        gain = 0.5 * pull**2 / diag - 0.5 * np.log(diag) + 0.5 * LOG_2PI + trade
        gain = np.where(dropped, -np.inf, gain)
        for j in range(m if size > beyond else 0):
            mask = dropped.copy()
            mask[:, j] = True
            terms.append(log_p + gain[:, j])
            masks.append(mask.astype(float))
        best = gain.argmax(axis=1)
        log_p = log_p + gain[row, best]
        column, pivot = K[row, :, best], diag[row, best]
        pull = pull - column * (pull[row, best] / pivot)[:, None]
        K = K - column[:, :, None] * column[:, None, :] / pivot[:, None, None]
        dropped[row, best] = True
    return terms, masks
