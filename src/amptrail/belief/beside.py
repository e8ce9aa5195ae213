"""What may be true beside every cause of the list: the vehicle is not as drawn, or an instrument is wrong.

Neither is a fault of the circuit, so neither has rows of its own; each is weighed by what it would make of
all readings at once. *Not as drawn*: every reading looks as readings do at that place in general (over all
causes), or is anything at all, half each; but together they fit no cause. *Instrument wrong*: its readings
are what a dead lead shows, or anything, or all off by one factor; every cause stays as likely as the others
leave it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from amptrail.belief.rows import Laid, evidence_of, laid
from amptrail.belief.tables import Array, Reading, Table

LIKE_DRAWN = 0.5  # of the readings of a vehicle that is not as drawn (common practice)


def undrawn_terms(table: Table, prior: Array) -> Array:
    """Natural-log density of each reading, then each word, on a vehicle that is not as drawn."""
    rows = laid(table)
    at = rows.layout
    with np.errstate(divide="ignore"):
        log_w = np.log(prior / prior.sum())[at.owner] + at.log_weight
    out = np.zeros(len(table.readings) + len(table.words))
    for k, i in enumerate(rows.order):
        var = rows.rows.cov[:, k, k]
        good = log_w - 0.5 * (rows.rows.residual[:, k] ** 2 / var + np.log(2 * np.pi * var))
        out[i] = _half(float(np.logaddexp.reduce(good)), -float(np.log(_width(rows.table.readings[k]))))
    for j, word in enumerate(table.words):
        column = rows.rows.words[:, j]
        # anything may have been said, yet no word speaks more for a strange vehicle than for its best cause
        anything = min(float(np.log(max(word.wrong_likelihood, 1e-6))), float(column.max()))
        out[len(table.readings) + j] = _half(float(np.logaddexp.reduce(log_w + column)), anything)
    return out


def _half(like_drawn: float, anything: float) -> float:
    return float(np.logaddexp(np.log(LIKE_DRAWN) + like_drawn, np.log(1 - LIKE_DRAWN) + anything))


def _width(r: Reading) -> float:
    return max(r.span[1], r.value) - min(r.span[0], r.value)


def spoiled_evidence(table: Table, prior: Array) -> list[float]:
    """Natural log of P(readings) when one instrument is wrong, over all causes of the list; each spoiler."""
    got = laid(table)
    left: dict[tuple[int, ...], float] = {}  # by all others: the same however the instrument is wrong
    out = []
    for spoiler in table.spoilers:
        if spoiler.factor is not None:
            out.append(_off_by_a_factor(got, prior, spoiler.readings, spoiler.factor))
            continue
        mine = spoiler.readings
        if mine not in left:
            rest = [k for k, i in enumerate(got.order) if i not in mine]
            left[mine] = _log_mean(evidence_of(got, rest, list(range(len(table.words)))), prior)
        density: Callable[[Reading], float] = _dead if spoiler.dead else _anything
        out.append(left[mine] + sum(density(table.readings[i]) for i in mine))
    return out


def _off_by_a_factor(got: Laid, prior: Array, mine: tuple[int, ...], factor: float) -> float:
    """One factor for all of them: they move together, each by what is there."""
    d = got.rows
    there = np.asarray([r.value for r in got.table.readings]) - d.residual
    there = there * np.asarray([factor if i in mine else 0.0 for i in got.order])
    scaled = replace(got, rows=replace(d, cov=d.cov + there[:, :, None] * there[:, None, :]))
    every, words = list(range(len(got.order))), list(range(len(got.table.words)))
    return _log_mean(evidence_of(scaled, every, words), prior)


def _dead(r: Reading) -> float:
    # no wider than a dead circuit is taken to read: else every sloppy zero would speak for the lead
    return float(-0.5 * (r.value / r.sigma) ** 2 - np.log(r.sigma * np.sqrt(2 * np.pi)))


def _anything(r: Reading) -> float:
    return -float(np.log(_width(r)))


def _log_mean(log_evidence: Array, prior: Array) -> float:
    with np.errstate(divide="ignore"):
        return float(np.logaddexp.reduce(np.log(prior / prior.sum()) + log_evidence))
