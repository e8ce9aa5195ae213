"""The hot loop of belief, compiled: every likely set of wrong readings, row by row of predictions."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

Array = Any
LOG_2PI = float(np.log(2 * np.pi))


@njit(cache=True, nogil=True, error_model="numpy")
def _factor(matrix: Array, pick: Array, count: int, low: Array) -> float:
    """Cholesky factor of the block `pick` of a positive matrix into `low`; its log-determinant."""
    log_det = 0.0
    for i in range(count):
        for j in range(i + 1):
            total = matrix[pick[i], pick[j]]
            for k in range(j):
                total -= low[i, k] * low[j, k]
            if i == j:
                # rounding must not make it negative
                low[i, i] = np.sqrt(max(total, 1e-14 * matrix[pick[i], pick[i]]))
                log_det += 2.0 * np.log(low[i, i])
            else:
                low[i, j] = total / low[j, j]
    return log_det


@njit(cache=True, nogil=True, error_model="numpy")
def _form(
    matrix: Array, vector: Array, pick: Array, count: int, low: Array, half: Array
) -> tuple[float, float]:
    """(log-determinant of the block, v' block^-1 v); closed for one and two, the usual case."""
    if count == 1:
        a, p = matrix[pick[0], pick[0]], vector[pick[0]]
        return np.log(a), p * p / a
    if count == 2:
        i, j = pick[0], pick[1]
        a, b, c, p, q = matrix[i, i], matrix[i, j], matrix[j, j], vector[i], vector[j]
        det = max(a * c - b * b, 1e-14 * a * c)  # rounding must not make it negative
        return np.log(det), (c * p * p - 2.0 * b * p * q + a * q * q) / det
    log_det = _factor(matrix, pick, count, low)
    quadratic = 0.0
    for i in range(count):
        total = vector[pick[i]]
        for k in range(i):
            total -= low[i, k] * half[k]
        half[i] = total / low[i, i]
        quadratic += half[i] * half[i]
    return log_det, quadratic


@njit(cache=True, nogil=True, error_model="numpy")
def _inverse(cov: Array, every: Array, low: Array, out: Array) -> float:
    """out = cov^-1; the log-determinant of cov."""
    m = every.size
    log_det = _factor(cov, every, m, low)
    for c in range(m):
        for i in range(m):
            total = 1.0 if i == c else 0.0
            for k in range(i):
                total -= low[i, k] * out[k, c]
            out[i, c] = total / low[i, i]
        for i in range(m - 1, -1, -1):
            total = out[i, c]
            for k in range(i + 1, m):
                total -= low[k, i] * out[k, c]
            out[i, c] = total / low[i, i]
    return log_det


@njit(cache=True, nogil=True, error_model="numpy")
def _chain(
    precision: Array, pull: Array, log_p: float, trade: Array, beyond: int, terms: Array, sets: Array, at: int
) -> int:
    """Terms of larger wrong sets: the loss that helps most stays, each of the others is tried. `precision`
    and `pull` are used up. Returns how many terms there are now."""
    m = pull.size
    dropped = np.int64(0)
    gain = np.zeros(m)
    for size in range(1, m + 1):
        best = -1
        for j in range(m):
            if dropped >> j & 1:
                continue
            d = precision[j, j]
            gain[j] = 0.5 * pull[j] * pull[j] / d - 0.5 * np.log(d) + 0.5 * LOG_2PI + trade[j]
            if best < 0 or gain[j] > gain[best]:
                best = j
            if size > beyond:
                terms[at], sets[at] = log_p + gain[j], dropped | (1 << j)
                at += 1
        log_p += gain[best]
        pivot, share = precision[best, best], pull[best] / precision[best, best]
        column = precision[:, best].copy()
        for i in range(m):
            pull[i] -= column[i] * share
            for j in range(m):
                precision[i, j] -= column[i] * column[j] / pivot
        dropped |= 1 << best
    return at


@njit(cache=True, nogil=True)
def _sets(m: int, largest: int) -> Array:
    """Every set of m readings as bits, or those of two at most."""
    if largest >= m:
        return np.arange(1 << m)
    out = np.zeros(1 + m + m * (m - 1) // 2, np.int64)
    at = 1
    for i in range(m):
        out[at] = 1 << i
        at += 1
        for j in range(i):
            out[at] = 1 << i | 1 << j
            at += 1
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def over_wrong(
    residual: Array, cov: Array, trade: Array, log_right: float, largest: int, log_l: Array, wrong: Array,
    z: Array, chi2: Array,
) -> None:  # fmt: skip
    """Per row: log_l, the log of the sum over sets of wrong readings; wrong[n, m], the chance of each;
    z[n, m] and chi2[n] when none is wrong. residual[n, m], cov[n, m, m]; trade[n, m]: log of what a wrong
    reading gains over a right one but for the Gaussian; all sets up to `largest` readings, larger ones by a
    chain."""
    n, m = residual.shape
    most = 1 << m if largest >= m else 1 + m + m * (m - 1) // 2 + m * m
    terms, sets = np.zeros(most), np.zeros(most, np.int64)
    low, half, precision, pull = np.zeros((m, m)), np.zeros(m), np.zeros((m, m)), np.zeros(m)
    every, pick = np.arange(m), np.zeros(m, np.int64)
    plain = _sets(m, largest)
    for row in range(n):
        log_det = _inverse(cov[row], every, low, precision)
        total = 0.0
        for i in range(m):
            pull[i] = 0.0
            for j in range(m):
                pull[i] += precision[i, j] * residual[row, j]
            total += pull[i] * residual[row, i]
            z[row, i] = pull[i] / np.sqrt(precision[i, i])
        chi2[row] = total
        good = -0.5 * (total + log_det + m * LOG_2PI) + log_right
        count = 0
        for s in plain:
            size = 0
            swapped = 0.0
            for j in range(m):
                if s >> j & 1:
                    pick[size] = j
                    size += 1
                    swapped += trade[row, j]
            if 2 * size <= m:  # few wrong: their density given the rest
                d, q = _form(precision, pull, pick, size, low, half)
                terms[count] = good + 0.5 * (q - d + size * LOG_2PI) + swapped
            else:  # few right: straight from their marginal
                right = 0
                for j in range(m):
                    if not s >> j & 1:
                        pick[right] = j
                        right += 1
                d, q = _form(cov[row], residual[row], pick, right, low, half)
                terms[count] = log_right - 0.5 * (q + d + right * LOG_2PI) + swapped
            sets[count] = s
            count += 1
        if largest < m:
            count = _chain(precision, pull, good, trade[row], largest, terms, sets, count)
        top = -np.inf
        for k in range(count):
            top = max(top, terms[k])
        whole = 0.0
        for k in range(count):
            if terms[k] < top - 45.0:  # less than rounding
                continue
            share = np.exp(terms[k] - top)
            whole += share
            for j in range(m):
                if sets[k] >> j & 1:
                    wrong[row, j] += share
        for j in range(m):
            wrong[row, j] /= whole
        log_l[row] = top + np.log(whole)
