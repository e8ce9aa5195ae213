"""Rows of a table in plain numpy, with the whole matrix of weights: what the compiled layout must equal."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.grids import Cells, cells
from amptrail.belief.layout import (
    ALIKE_NATS,
    ALIKE_SIGMAS,
    FAR_SIGMAS,
    LEAST_LOG,
    NOWHERE,
    SLACK_V,
    Piece,
)  # fmt: skip
from amptrail.belief.tables import Array, Hypothesis


def plain(h: Hypothesis, sigma: tuple[float, ...], size: tuple[int, int]) -> Piece:
    """One hypothesis laid out; `size`: wrong places of a reading, words."""
    (piece,) = _block((h,), [0], cells(h.grid), np.asarray(sigma, float), size)
    return piece


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
        far[:, 1:][:, _breaks(c)] = n * n
    far[:, 0] = 0.0
    along = np.floor(np.cumsum(far, axis=1))
    begins = np.ones((b, n), bool)
    begins[:, 1:] = np.diff(along, axis=1) > 0
    return begins.reshape(-1)


def _others(members: list[Hypothesis], c: Cells, shape: tuple[int, int, int]) -> Array:
    far = np.full(shape, NOWHERE)
    got = [far if h.prediction.others is None else h.prediction.others for h in members]
    return np.asarray(np.einsum("ng,bgmk->bnmk", c.linear, np.stack(got)), np.float64)


def _breaks(c: Cells) -> NDArray[np.bool_]:
    """[n - 1]: whether a cell and the next belong to different discrete states, or are no neighbours."""
    if len(c.axis_cells) == 1:
        return np.asarray(np.diff(c.axis_cells[0][2]) != 0)
    if len(c.axis_cells) == 2:
        state = c.grid.segments()[c.linear.argmax(axis=1)]
        across = len(c.axis_cells[1][0])
        return np.asarray((np.arange(1, len(c.log_weight)) % across == 0) | (np.diff(state) != 0))
    return np.zeros(len(c.log_weight) - 1, bool)
