"""What may be true beside every cause of the list: the vehicle is not as drawn, or an instrument is wrong.

Neither is a fault of the circuit, so neither has rows of its own; each is weighed by what it would make of
all readings at once. *Not as drawn*: some cause is true and the drawing right about most places, but about
others, an unknown share, it says nothing: what is read there is what such a place reads in general (over all
causes), or anything at all, half each. *Instrument wrong*: its readings are what a dead lead shows, or
anything, or all off by one factor; every cause stays as likely as the others leave it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from amptrail.belief.rows import Laid, evidence_of, laid
from amptrail.belief.tables import Array, Reading, Table

LIKE_DRAWN = 0.5  # of the readings where the drawing is wrong (common practice)
ASTRAY = (
    0.15,
    0.4,
    1.0,
)  # shares of places about which a wrong drawing is wrong, alike beforehand (the same)


def undrawn_evidence(table: Table, prior: Array) -> tuple[float, Array]:
    """Natural log of P(readings) on a vehicle that is not as drawn; and with one reading, then one word, left
    out."""
    got = laid(table)
    with np.errstate(divide="ignore"):
        log_w = np.log(prior / prior.sum())[got.layout.owner] + got.layout.log_weight
    good = _as_drawn(got)
    anywhere = np.asarray(
        [_half(float(np.logaddexp.reduce(log_w + g)), off) for g, off in zip(good.T, _off(got), strict=True)]
    )
    whole, without = [], []
    for share in ASTRAY:
        with np.errstate(divide="ignore"):
            each = np.logaddexp(np.log1p(-share) + good, np.log(share) + anywhere)
        total = log_w + each.sum(axis=1)
        whole.append(np.logaddexp.reduce(total))
        without.append([np.logaddexp.reduce(total - e) for e in each.T])
    out = np.logaddexp.reduce(np.asarray(without).reshape(len(ASTRAY), -1), axis=0) - np.log(len(ASTRAY))
    back = np.concatenate([np.argsort(got.order), len(got.order) + np.arange(len(table.words))])
    return float(np.logaddexp.reduce(whole) - np.log(len(ASTRAY))), out[back.astype(np.intp)]


def _as_drawn(got: Laid) -> Array:
    """Natural-log density of each reading (in canonical order), then each word, row by row, by itself."""
    d = got.rows
    var = np.einsum("nii->ni", d.cov)
    return np.concatenate([-0.5 * (d.residual**2 / var + np.log(2 * np.pi * var)), d.words], axis=1)


def _off(got: Laid) -> list[float]:
    """Natural-log density of each of them where anything may be read or said."""
    numbers = [-float(np.log(r.width)) for r in got.table.readings]
    # anything may have been said, yet no word speaks more for a strange vehicle than for its best cause
    best = got.rows.words.max(axis=0, initial=-np.inf)
    words = [
        min(float(np.log(max(w.wrong_likelihood, 1e-6))), float(b))
        for w, b in zip(got.table.words, best, strict=True)
    ]
    return numbers + words


def _half(like_drawn: float, anything: float) -> float:
    return float(np.logaddexp(np.log(LIKE_DRAWN) + like_drawn, np.log(1 - LIKE_DRAWN) + anything))


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
    return -float(np.log(r.width))


def _log_mean(log_evidence: Array, prior: Array) -> float:
    with np.errstate(divide="ignore"):
        return float(np.logaddexp.reduce(np.log(prior / prior.sum()) + log_evidence))
