"""How well a row of predictions explains the numeric readings, some of which may be of the wrong place.

The sum over which readings are wrong is exact up to five readings. With more, every one and every two are
tried, and larger sets along one chain: the loss that helps most stays and each of the others is tried.
Shared tolerances stay shared: what is left after dropping readings is the marginal of the same Gaussian.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from amptrail.belief.tables import Array, Reading, Whole

# Common practice; learned from proven jobs later (NUMERICS, Senses).
OTHER_POINT, OTHER_PHASE, ANYTHING = 0.6, 0.2, 0.2
MISPROBE, MISPROBE_UNSURE, MISPROBE_DARK = 0.03, 0.3, 0.06
EXACT_UP_TO = 5
# Rows so much worse than the best of all are not worth the exact sum; sharing tolerances can gain a
# few nats a reading, hence the second figure.
HOPELESS_NATS, HOPELESS_PER_READING = 25.0, 3.0
SLACK_SHARE, SLACK_V = 0.01, 0.15  # how near a reading of a wrong place is to what is predicted there
LOG_2PI = float(np.log(2 * np.pi))


def other_weights(points: int, phases: int) -> tuple[float, ...]:
    """Weights of wrong-place predictions: `points` neighbours share 60 %, `phases` other phases 20 %."""
    return (OTHER_POINT / points,) * points + (OTHER_PHASE / phases,) * phases


@dataclass(frozen=True, eq=False)
class Rows:
    """Per row: `log_likelihood[n]`, `wrong[n, m]` (chance each reading is a misprobe), `z[n, m]` (how many
    standard deviations each reading is off given the others), `chi2[n]` when none is a misprobe.
    `alone[n, m]`: standard deviations off, each reading taken by itself.
    """

    log_likelihood: Array
    wrong: Array
    z: Array
    chi2: Array
    alone: Array

    def part(self, rows: slice) -> Rows:
        """Some rows only."""
        return Rows(*(a[rows] for a in self._arrays()))

    def turned(self, order: Whole) -> Rows:
        """The readings in another order."""
        return Rows(
            self.log_likelihood, self.wrong[:, order], self.z[:, order], self.chi2, self.alone[:, order]
        )

    def copy(self) -> Rows:
        """The same in arrays of its own."""
        return Rows(*(a.copy() for a in self._arrays()))

    def put(self, rows: slice, mine: Rows) -> None:
        """Write `mine` into some rows of this copy."""
        for whole, part in zip(self._arrays(), mine._arrays(), strict=True):
            whole[rows] = part

    def _arrays(self) -> tuple[Array, ...]:
        return self.log_likelihood, self.wrong, self.z, self.chi2, self.alone


def wrong_density(readings: tuple[Reading, ...], others: Array | None, rows: int) -> Array:
    """Natural-log density [n, m] of each value had it been read somewhere else (others[n, m, k])."""
    out = np.empty((rows, len(readings)))
    for j, r in enumerate(readings):
        share = np.asarray(r.other_weights, float)
        slack = max(r.sigma, SLACK_SHARE * (r.span[1] - r.span[0]))  # a neighbour's tolerance is not carried
        near = np.zeros(rows)
        if others is not None and len(share):
            gap = (r.value - others[:, j, : len(share)]) / slack
            near = (share * np.exp(-0.5 * gap**2)).sum(axis=1) / (slack * np.sqrt(2 * np.pi))
        rest = 1.0 - (share.sum() if others is not None else 0.0)
        # never exactly zero: a slip of the pen is always possible
        out[:, j] = np.log(near + max(rest, 1e-3) / r.width)
    return out


def weigh(
    readings: tuple[Reading, ...], residual: Array, cov: Array, bad: Array, log_prior: Array | None = None
) -> Rows:
    """Likelihood of residual[n, m] (value - prediction) under cov[n, m, m], misprobes included. Rows that
    explain little beside the best, `log_prior[n]` counted in, are weighed roughly."""
    rough = apart(readings, residual, cov, bad)
    joint = rough.log_likelihood if log_prior is None else rough.log_likelihood + log_prior
    least = float(joint.max(initial=-np.inf)) - hopeless_nats(len(readings))
    return exactly(readings, residual, cov, bad, rough, np.flatnonzero(joint > least))


def hopeless_nats(readings: int) -> float:
    """So far below the best a row, its readings taken apart, explains nothing."""
    return HOPELESS_NATS + HOPELESS_PER_READING * readings


def exactly(
    readings: tuple[Reading, ...], residual: Array, cov: Array, bad: Array, rough: Rows, near: Whole
) -> Rows:
    """`rough` with its rows `near` weighed as one Gaussian with shared tolerances."""
    out = replace(rough, log_likelihood=rough.log_likelihood.copy(), wrong=rough.wrong.copy(),
                  z=rough.z.copy(), chi2=rough.chi2.copy())  # fmt: skip
    if not len(near) or not readings:
        return out
    share = np.asarray([r.misprobe for r in readings])
    exact = _together(share, residual[near], cov[near], bad[near])
    out.log_likelihood[near], out.wrong[near] = exact.log_likelihood, exact.wrong
    out.z[near], out.chi2[near] = exact.z, exact.chi2
    return out


def apart(readings: tuple[Reading, ...], residual: Array, cov: Array, bad: Array) -> Rows:
    """Each reading by itself, tolerances not shared: good enough for rows that explain nothing."""
    n = len(residual)
    if not readings:
        return Rows(np.zeros(n), np.zeros((n, 0)), np.zeros((n, 0)), np.zeros(n), np.zeros((n, 0)))
    share = np.asarray([r.misprobe for r in readings])
    var = np.einsum("nii->ni", cov)
    z = residual / np.sqrt(var)
    good = -0.5 * (z**2 + np.log(var) + LOG_2PI) + np.log1p(-share)
    with np.errstate(divide="ignore"):
        wrong = bad + np.log(share)
    both = np.logaddexp(good, wrong)
    return Rows(both.sum(axis=1), np.exp(wrong - both), z, (z**2).sum(axis=1), z)


def _together(share: Array, residual: Array, cov: Array, bad: Array) -> Rows:
    """All readings as one Gaussian with shared tolerances, and every likely set of them wrong."""
    from amptrail.belief.kernel import over_wrong  # compiled: not loaded before something is weighed

    n, m = residual.shape
    with np.errstate(divide="ignore"):
        trade = bad + np.log(share) - np.log1p(-share)
    log_l, chi2, wrong, z = np.zeros(n), np.zeros(n), np.zeros((n, m)), np.zeros((n, m))
    largest = m if m <= EXACT_UP_TO else 2
    r, c, t = (np.ascontiguousarray(x) for x in (residual, cov, trade))
    over_wrong(r, c, t, float(np.log1p(-share).sum()), largest, log_l, wrong, z, chi2)
    return Rows(log_l, wrong, z, chi2, z)
