"""Predictions of a table laid out at the integration cells, row by row, before any value is read.

What is laid out depends on the hypotheses and the instruments alone, so it is kept while the same ones are
asked about other values. A row is one cell, or several neighbours across which nothing read changes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.grids import Cells, cells
from amptrail.belief.likelihood import SLACK_V
from amptrail.belief.tables import Array, Hypothesis, Whole

BATCH_ROWS = 16_384
NOWHERE = 1e6  # a hypothesis without wrong places: nowhere near any reading
# Neighbouring cells are one row while nothing that is read moves by more than so many standard deviations
# (words: nats) from end to end; a likelihood is then straight enough across it (design 0011).
ALIKE_SIGMAS, ALIKE_NATS = 0.25, 0.1
FAR_SIGMAS = 4.0  # so many of those the wrong places may move: they weigh a misprobe's share
LEAST_LOG = -8.0  # below this a word is a slip anyway


@dataclass(frozen=True, eq=False)
class Piece:
    """One hypothesis laid out: arrays as in `Layout`, its own rows only."""

    cells: Cells
    row_of: Whole
    log_weight: Array
    mean: Array
    cov: Array
    others: Array
    words: Array


@dataclass(frozen=True, eq=False)
class Layout:
    """Rows of all hypotheses, one hypothesis after the other: those of h are `first[h]` to `first[h + 1]`,
    and its cell number c (of `cells[h]`) belongs to the row `first[h] + row_of[h][c]`.

    `log_weight[n]`: prior mass of a row within its hypothesis. `mean[n, m]`; `cov[n, m, m]`: tolerances, and
    the width of the row itself, no instrument; `others[n, m, k]` or None; `words[n, w]`.
    """

    cells: tuple[Cells, ...]
    first: Whole
    row_of: tuple[Whole, ...]
    log_weight: Array
    mean: Array
    cov: Array
    others: Array | None
    words: Array

    def rows(self, h: int) -> slice:
        """The rows of a hypothesis."""
        return slice(int(self.first[h]), int(self.first[h + 1]))

    @property
    def owner(self) -> Whole:
        """The hypothesis of each row."""
        return np.repeat(np.arange(len(self.cells)), np.diff(self.first))


# Pieces of the hypotheses alive, for the instruments last asked about: a table that grows by some pairs lays
# out those pairs alone.
_PIECES: WeakKeyDictionary[Hypothesis, tuple[object, Piece]] = WeakKeyDictionary()


@lru_cache(maxsize=2)
def lay(hypotheses: tuple[Hypothesis, ...], sigma: tuple[float, ...], words: int) -> Layout:
    """Every hypothesis at its cells; `sigma`: of the instrument, reading by reading."""
    k = max(
        (0 if h.prediction.others is None else h.prediction.others.shape[2] for h in hypotheses), default=0
    )
    asked = (sigma, words, k)
    known = {h: f[1] for h in hypotheses if (f := _PIECES.get(h)) is not None and f[0] == asked}
    new = tuple(h for h in hypotheses if h not in known)
    for h, piece in _pieces(new, np.asarray(sigma, float), (k, words)):
        known[h] = piece
        _PIECES[h] = (asked, piece)
    pieces = [known[h] for h in hypotheses]
    return Layout(
        tuple(p.cells for p in pieces),
        np.concatenate([[0], np.cumsum([len(p.log_weight) for p in pieces])]),
        tuple(p.row_of for p in pieces),
        np.concatenate([p.log_weight for p in pieces]),
        np.concatenate([p.mean for p in pieces]),
        np.concatenate([p.cov for p in pieces]),
        np.concatenate([p.others for p in pieces]) if k else None,
        np.concatenate([p.words for p in pieces]),
    )


def _pieces(
    hypotheses: tuple[Hypothesis, ...], sigma: Array, size: tuple[int, int]
) -> Iterator[tuple[Hypothesis, Piece]]:
    """Each hypothesis laid out; those of one grid together."""
    for which, c in _batches(hypotheses):
        yield from zip((hypotheses[i] for i in which), _block(hypotheses, which, c, sigma, size), strict=True)


def _batches(hypotheses: tuple[Hypothesis, ...]) -> Iterator[tuple[list[int], Cells]]:
    groups: dict[tuple[object, ...], list[int]] = {}
    for i, h in enumerate(hypotheses):
        groups.setdefault(h.grid.key(), []).append(i)
    for members in groups.values():
        c = cells(hypotheses[members[0]].grid)
        step = max(1, BATCH_ROWS // len(c.log_weight))
        for start in range(0, len(members), step):
            yield members[start : start + step], c


def _stack(members: list[Hypothesis], name: str, shape: tuple[int, ...]) -> Array:
    zero = np.zeros(shape)
    got = [getattr(h.prediction, name) for h in members]
    return np.stack([zero if a is None else a for a in got])


def _block(
    hypotheses: tuple[Hypothesis, ...], which: list[int], c: Cells, sigma: Array, size: tuple[int, int]
) -> Iterator[Piece]:
    members = [hypotheses[i] for i in which]
    g, n, b, m, (k, w) = c.grid.size, len(c.log_weight), len(which), len(sigma), size
    mid, move = c.smooth(_stack(members, "mean", (g, m)))
    cov = np.einsum("ng,bgij->bnij", c.linear, _stack(members, "cov", (g, m, m)))
    # a cell wider than the reading's spread gives its average: its own width counts as spread
    # (sixth, not twelfth: neighbouring cells then overlap smoothly)
    cov = cov + np.einsum("bnai,bnaj->bnij", move, move) / 6
    others = _others(members, c, (g, m, k)).reshape(b, n, m * k)
    words = np.einsum("ng,bgw->bnw", c.linear, np.maximum(_stack(members, "words", (g, w)), -700.0))
    begins = _begins(c, mid, cov, others, words, sigma)
    weight = np.broadcast_to(np.exp(c.log_weight), (b, n)).reshape(-1)
    start = np.flatnonzero(begins)
    mass = np.add.reduceat(weight, start)

    def merged(x: Array) -> Array:
        flat = x.reshape(b * n, -1) * weight[:, None]
        return np.asarray(np.add.reduceat(flat, start, axis=0) / mass[:, None], np.float64)

    mean = merged(mid)
    off = mid.reshape(b * n, m) - np.repeat(mean, np.diff([*start, b * n]), axis=0)
    whole = merged(cov + (off[:, :, None] * off[:, None, :]).reshape(cov.shape)).reshape(len(start), m, m)
    row_of = np.cumsum(begins).reshape(b, n) - 1
    log_mass, far, said = np.log(mass), merged(others).reshape(len(start), m, k), merged(words)
    for own in row_of:
        s = slice(int(own[0]), int(own[-1]) + 1)
        yield Piece(c, own - own[0], log_mass[s], mean[s], whole[s], far[s], said[s])


def _begins(c: Cells, mid: Array, cov: Array, others: Array, words: Array, sigma: Array) -> NDArray[np.bool_]:
    """Where a row begins, cell by cell [b * n]."""
    b, n, m = mid.shape
    far = np.zeros((b, n))
    if n > 1:
        spread = np.sqrt(np.einsum("bnii->bni", cov) + sigma**2)
        spread = np.minimum(spread[:, 1:], spread[:, :-1])
        apart = np.abs(np.diff(mid, axis=1)) / (ALIKE_SIGMAS * spread)
        wide = np.abs(np.diff(np.log(np.einsum("bnii->bni", cov) + sigma**2), axis=1)) / (2 * ALIKE_SIGMAS)
        slack = np.repeat(np.maximum(spread, SLACK_V), others.shape[2] // m, axis=2) if m else others[:, 1:]
        away = np.abs(np.diff(others, axis=1)) / (FAR_SIGMAS * ALIKE_SIGMAS * slack)
        said = np.abs(np.diff(np.maximum(words, LEAST_LOG), axis=1)) / ALIKE_NATS
        far[:, 1:] = np.concatenate([apart, wide, away, said], axis=2).max(axis=2, initial=0.0)
        far[:, 1:][:, c.breaks()] = n * n
    far[:, 0] = 0.0
    along = np.floor(np.cumsum(far, axis=1))
    begins = np.ones((b, n), bool)
    begins[:, 1:] = np.diff(along, axis=1) > 0
    return begins.reshape(-1)


def _others(members: list[Hypothesis], c: Cells, shape: tuple[int, int, int]) -> Array:
    far = np.full(shape, NOWHERE)
    got = [far if h.prediction.others is None else h.prediction.others for h in members]
    return np.asarray(np.einsum("ng,bgmk->bnmk", c.linear, np.stack(got)), np.float64)
