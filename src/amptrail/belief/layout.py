"""Predictions of a table laid out at the integration cells, row by row, before any value is read.

What is laid out depends on the hypotheses and the instruments alone, so it is kept while the same ones are
asked about other values. A row is one cell, or several neighbours across which nothing read changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from weakref import WeakKeyDictionary

import numpy as np

from amptrail.belief.grids import Cells, cells
from amptrail.belief.likelihood import SLACK_V
from amptrail.belief.tables import Array, Hypothesis, Whole

BATCH_CELLS = 8_192  # scratch of some megabytes at most
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
    """Each hypothesis laid out, some thousand cells at a time."""
    some: list[tuple[Hypothesis, Cells]] = []
    count = 0
    for h in hypotheses:
        some.append((h, cells(h.grid)))
        count += len(some[-1][1].log_weight)
        if count >= BATCH_CELLS:
            yield from _block(some, sigma, size)
            some, count = [], 0
    if some:
        yield from _block(some, sigma, size)


def _stack(members: list[Hypothesis], name: str, shape: tuple[int, ...], missing: float = 0.0) -> Array:
    """Predictions [rows of all members, *shape]."""
    got = [getattr(h.prediction, name) for h in members]
    whole = [
        np.full((h.grid.size, *shape), missing) if a is None else a for h, a in zip(members, got, strict=True)
    ]
    return np.concatenate(whole)


def _starts(lengths: list[int]) -> Whole:
    return np.concatenate([[0], np.cumsum(lengths, dtype=np.int64)])


def _block(
    some: list[tuple[Hypothesis, Cells]], sigma: Array, size: tuple[int, int]
) -> Iterator[tuple[Hypothesis, Piece]]:
    from amptrail.belief.laying import lay_out  # compiled: not loaded before something is weighed

    members = [h for h, _ in some]
    m, (k, w) = len(sigma), size
    of_axes = [h.grid.axes for h in members]
    axes = np.asarray([len(a) for a in of_axes], np.int64)
    edges = [[np.append(low, high[-1]) for low, high, _ in c.axis_cells] for _, c in some]
    mine = [c.states() if len(c.axis_cells) == 1 else np.zeros(0, np.int64) for _, c in some]
    cell_at = _starts([len(c.log_weight) for _, c in some])
    n, rows = int(cell_at[-1]), sum(h.grid.size for h in members)
    row_of, log_mass = np.zeros(n, np.int64), np.zeros(n)
    mean, cov, others, words = np.zeros((n, m)), np.zeros((n, m, m)), np.zeros((n, m * k)), np.zeros((n, w))
    lay_out(
        axes,
        _chain(of_axes), _places(of_axes),
        np.concatenate([h.grid.segments() for h in members]),
        _starts([h.grid.size for h in members]),
        _chain(edges), _places(edges),
        np.concatenate(mine), _starts([len(x) for x in mine]),
        _stack(members, "mean", (m,)), _stack(members, "cov", (m, m)),
        _stack(members, "others", (m, k), NOWHERE).reshape(rows, m * k), _stack(members, "words", (w,)),
        sigma**2,
        np.exp(np.concatenate([c.log_weight for _, c in some])), cell_at,
        np.asarray([ALIKE_SIGMAS, ALIKE_NATS, FAR_SIGMAS, SLACK_V, LEAST_LOG]),
        row_of, log_mass, mean, cov, others, words,
    )  # fmt: skip
    for (h, c), first, end in zip(some, cell_at[:-1], cell_at[1:], strict=True):
        own = row_of[first:end].copy()
        s = slice(int(first), int(first) + int(own[-1]) + 1)
        far = others[s].reshape(int(own[-1]) + 1, m, k).copy()
        yield h, Piece(c, own, log_mass[s].copy(), mean[s].copy(), cov[s].copy(), far, words[s].copy())


def _chain(some: Sequence[Sequence[Array]]) -> Array:
    """All arrays of all, one after the other."""
    return np.concatenate([np.zeros(0), *(a for mine in some for a in mine)])


def _places(some: Sequence[Sequence[Array]]) -> Whole:
    """[h, 3]: where in the chain the first and the second array of each begin, and where its last ends."""
    out, at = np.zeros((len(some), 3), np.int64), 0
    for h, mine in enumerate(some):
        out[h] = at
        for i, a in enumerate(mine):
            at += len(a)
            out[h, i + 1 :] = at
    return out
