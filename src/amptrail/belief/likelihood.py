"""How well a row of predictions explains the numeric readings, some of which may be of the wrong place.

The sum over which readings are wrong is taken along the best chain: all right; each one wrong; then the
one whose loss helps most stays wrong and each of the others is tried; and so on. Shared tolerances stay
shared: what is left after dropping readings is the exact marginal of the same Gaussian.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from amptrail.belief.tables import Array, Reading

# Common practice; learned from proven jobs later (NUMERICS, Senses).
OTHER_POINT, OTHER_PHASE, ANYTHING = 0.6, 0.2, 0.2
MISPROBE, MISPROBE_UNSURE, MISPROBE_DARK = 0.03, 0.3, 0.06
LOG_2PI = float(np.log(2 * np.pi))


def other_weights(points: int, phases: int) -> tuple[float, ...]:
    """Weights of wrong-place predictions: `points` neighbours share 60 %, `phases` other phases 20 %."""
    return (OTHER_POINT / points,) * points + (OTHER_PHASE / phases,) * phases


@dataclass(frozen=True, eq=False)
class Rows:
    """Per row: `log_likelihood[n]`, `wrong[n, m]` (chance each reading is a misprobe), `z[n, m]` (how many
    standard deviations each reading is off given the others), `chi2[n]` when none is a misprobe.
    """

    log_likelihood: Array
    wrong: Array
    z: Array
    chi2: Array


def wrong_density(readings: tuple[Reading, ...], others: Array | None, rows: int) -> Array:
    """Natural-log density [n, m] of each value had it been read somewhere else (others[n, m, k])."""
    out = np.empty((rows, len(readings)))
    for j, r in enumerate(readings):
        share = np.asarray(r.other_weights, float)
        slack = max(r.sigma, 0.01 * (r.span[1] - r.span[0]))  # a neighbour's tolerance is not carried
        near = np.zeros(rows)
        if others is not None and len(share):
            gap = (r.value - others[:, j, : len(share)]) / slack
            near = (share * np.exp(-0.5 * gap**2)).sum(axis=1) / (slack * np.sqrt(2 * np.pi))
        rest = 1.0 - (share.sum() if others is not None else 0.0)
        width = max(r.span[1], r.value) - min(r.span[0], r.value)
        # never exactly zero: a slip of the pen is always possible
        out[:, j] = np.log(near + max(rest, 1e-3) / width)
    return out


def weigh(readings: tuple[Reading, ...], residual: Array, cov: Array, bad: Array) -> Rows:
    """Likelihood of residual[n, m] (value - prediction) under cov[n, m, m], misprobes included."""
    n, m = residual.shape
    if m == 0:
        return Rows(np.zeros(n), np.zeros((n, 0)), np.zeros((n, 0)), np.zeros(n))
    share = np.asarray([r.misprobe for r in readings])
    precision = np.linalg.inv(cov)
    precision = (precision + precision.swapaxes(1, 2)) / 2
    log_det = np.linalg.slogdet(cov)[1]
    pull = np.einsum("nij,nj->ni", precision, residual)
    chi2 = np.einsum("ni,ni->n", pull, residual)
    z = pull / np.sqrt(np.einsum("nii->ni", precision))
    good = -0.5 * (chi2 + log_det + m * LOG_2PI) + np.log1p(-share).sum()
    with np.errstate(divide="ignore"):
        trade = bad + np.log(share) - np.log1p(-share)
    total, wrong = _chain(precision, pull, good, trade)
    return Rows(total, wrong, z, chi2)


def _chain(K: Array, pull: Array, log_p: Array, trade: Array) -> tuple[Array, Array]:
    """Sum over the chain of wrong sets; also the posterior chance that each reading is wrong."""
    n, m = pull.shape
    K, pull, log_p = K.copy(), pull.copy(), log_p.copy()
    dropped = np.zeros((n, m), bool)
    row = np.arange(n)
    terms, masks = [log_p.copy()], [dropped.copy()]
    for _ in range(m):
        diag = np.where(dropped, 1.0, np.einsum("nii->ni", K))
        # dropping j: divide by its density given the others that are still in
        gain = 0.5 * pull**2 / diag - 0.5 * np.log(diag) + 0.5 * LOG_2PI + trade
        gain = np.where(dropped, -np.inf, gain)
        for j in range(m):
            mask = dropped.copy()
            mask[:, j] = True
            terms.append(log_p + gain[:, j])
            masks.append(mask)
        best = gain.argmax(axis=1)
        if not np.isfinite(gain[row, best]).any():
            break
        log_p = log_p + gain[row, best]
        column = K[row, :, best]
        pivot = diag[row, best]
        pull = pull - column * (pull[row, best] / pivot)[:, None]
        K = K - column[:, :, None] * column[:, None, :] / pivot[:, None, None]
        dropped[row, best] = True
    stack = np.stack(terms)
    top = stack.max(axis=0)
    share = np.exp(stack - top)
    total = share.sum(axis=0)
    wrong = np.einsum("tn,tnm->nm", share, np.stack(masks)) / total[:, None]
    return top + np.log(total), wrong
