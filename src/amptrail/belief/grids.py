"""From solved severities to integration cells: monotone cubic inside a segment, never across a boundary.

Each cell carries its weight (prior mass), the prediction at its middle and how far the prediction moves
across it, so that a cell wider than the reading's spread still gives its *average* likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from amptrail.belief.tables import Array, Grid, Whole

CELLS_SINGLE = 128  # along one severity
CELLS_DOUBLE = 16  # along each of two severities


@dataclass(frozen=True, eq=False)
class Cells:
    """Integration cells of a grid: along each axis low edges, high edges and the state of each cell, and the
    prior mass `log_weight[n]` of each (sums to 1). The maps from table rows to cells are here in plain
    numpy, for few hypotheses; `laying` has them compiled, for all of a table.
    """

    grid: Grid
    axis_cells: tuple[tuple[Array, Array, Whole], ...]
    log_weight: Array

    @cached_property
    def linear(self) -> Array:
        """[n, G]: value at the middle of each cell = `linear @ rows`."""
        if not self.axis_cells:
            return np.ones((1, 1))
        return _linear(self.grid, self.axis_cells, [(low + high) / 2 for low, high, _ in self.axis_cells])

    def states(self) -> Whole:
        """[n]: the discrete state of each cell of a single axis, as its table rows are numbered."""
        mine = self.axis_cells[0][2]
        return mine if self.grid.cuts else np.full(len(mine), self.grid.segments()[0])

    def smooth(self, rows: Array) -> tuple[Array, Array]:
        """Rows [b, G, m] -> value at the middles [b, n, m] and change across each cell [b, n, axes, m],
        monotone cubic within a discrete state."""
        if not self.grid.axes:
            return rows, np.zeros((rows.shape[0], 1, 0, rows.shape[2]))
        if len(self.grid.axes) == 1:
            return _smooth_single(self, rows)
        return _smooth_double(self, rows)


def cells(grid: Grid) -> Cells:
    """The cells over which a hypothesis with this grid is integrated."""
    single = len(grid.axes) == 1
    parts = tuple(_axis_cells(a.tobytes(), grid.cuts, single) for a in grid.axes)
    if single and grid.cuts:  # its cells are numbered by part; a part is the state its table rows have
        seen = np.asarray(list(dict.fromkeys(grid.segments().tolist())), np.int64)
        low, high, part = parts[0]
        parts = ((low, high, seen[np.minimum(part, len(seen) - 1)]),)
    return Cells(grid, parts, _log_weight(tuple((low.tobytes(), high.tobytes()) for low, high, _ in parts)))


@lru_cache(maxsize=4096)
def _log_weight(edges: tuple[tuple[bytes, bytes], ...]) -> Array:
    """Prior mass of every cell, flat in log-ohm; the last axis runs fastest."""
    out = np.ones(1)
    for low, high in edges:
        width = np.frombuffer(high) - np.frombuffer(low)
        out = np.outer(out, width / width.sum()).ravel()
    return np.log(out)


@lru_cache(maxsize=4096)
def _axis_cells(axis: bytes, cuts: tuple[float, ...], single: bool) -> tuple[Array, Array, Whole]:
    points = np.frombuffer(axis)
    edges = np.linspace(points[0], points[-1], (CELLS_SINGLE if single else CELLS_DOUBLE) + 1)
    if single and cuts:
        edges = np.unique(np.concatenate([edges, np.asarray(cuts)]))
    low, high = edges[:-1], edges[1:]
    return low, high, np.searchsorted(np.asarray(cuts if single else ()), (low + high) / 2)


def _weights(points: Array, allowed: Array, at: Array) -> Array:
    """Linear interpolation weights [n, g] between allowed points, constant outside them."""
    index = np.flatnonzero(allowed)
    out = np.zeros((len(at), len(points)))
    sub = points[index]
    right = np.clip(np.searchsorted(sub, at), 1, max(len(sub) - 1, 1))
    if len(sub) == 1:
        out[:, index[0]] = 1.0
        return out
    t = np.clip((at - sub[right - 1]) / (sub[right] - sub[right - 1]), 0.0, 1.0)
    rows = np.arange(len(at))
    out[rows, index[right - 1]] = 1 - t
    out[rows, index[right]] += t
    return out


def _linear(grid: Grid, parts: tuple[tuple[Array, Array, Whole], ...], middles: list[Array]) -> Array:
    segment = grid.segments()
    if len(parts) == 1:
        out = np.zeros((len(middles[0]), grid.size))
        mine = parts[0][2] if grid.cuts else np.full(len(middles[0]), segment[0])
        for s in np.unique(mine):
            rows = mine == s
            out[rows] = _weights(grid.axes[0], segment == s, middles[0][rows])
        return out
    first = _weights(grid.axes[0], np.ones(len(grid.axes[0]), bool), middles[0])
    second = _weights(grid.axes[1], np.ones(len(grid.axes[1]), bool), middles[1])
    both = np.einsum("ig,jh->ijgh", first, second).reshape(len(middles[0]) * len(middles[1]), -1)
    return _one_state(both, segment)


def _one_state(weights: Array, segment: Whole) -> Array:
    """Where a cell's corners differ in discrete state, keep the state with most weight: never average two."""
    totals = np.stack([weights[:, segment == s].sum(axis=1) for s in np.unique(segment)], axis=1)
    winner = np.unique(segment)[totals.argmax(axis=1)]
    kept = np.where(segment[None, :] == winner[:, None], weights, 0.0)
    return np.asarray(kept / kept.sum(axis=1, keepdims=True), np.float64)


def slopes(x: Array, y: Array) -> Array:
    """Monotone (Fritsch-Butland) derivatives at the points of y[b, g, m] over x[g]."""
    h = np.diff(x)[None, :, None]
    delta = np.diff(y, axis=1) / h
    if len(x) == 2:
        return np.concatenate([delta, delta], axis=1)
    w1, w2 = 2 * h[:, 1:] + h[:, :-1], h[:, 1:] + 2 * h[:, :-1]
    a, b = delta[:, :-1], delta[:, 1:]
    same = a * b > 0
    safe_a, safe_b = np.where(same, a, 1.0), np.where(same, b, 1.0)
    inner = np.where(same, (w1 + w2) / (w1 / safe_a + w2 / safe_b), 0.0)
    return np.concatenate([delta[:, :1], inner, delta[:, -1:]], axis=1)


def pchip(x: Array, y: Array, at: Array) -> Array:
    """Monotone cubic through y[b, g, m] over x[g], at `at[n]` -> [b, n, m]; straight beyond the ends."""
    if len(x) == 1:
        return np.repeat(y, len(at), axis=1)
    d = slopes(x, y)
    i = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    h = (x[i + 1] - x[i])[None, :, None]
    inside = np.clip(at, x[0], x[-1])
    t = ((inside - x[i])[None, :, None]) / h
    y0, y1, d0, d1 = y[:, i], y[:, i + 1], d[:, i] * h, d[:, i + 1] * h
    cubic = y0 + t * (d0 + t * (3 * (y1 - y0) - 2 * d0 - d1 + t * (2 * (y0 - y1) + d0 + d1)))
    beyond = (at - inside)[None, :, None]
    return np.asarray(cubic + beyond * np.where(beyond < 0, d[:, i], d[:, i + 1]), np.float64)


def _smooth_single(c: Cells, rows: Array) -> tuple[Array, Array]:
    low, high, _ = c.axis_cells[0]
    segment, mine = c.grid.segments(), c.states()
    mid = np.empty((rows.shape[0], len(low), rows.shape[2]))
    move = np.empty((rows.shape[0], len(low), 1, rows.shape[2]))
    for s in np.unique(mine):
        here, points = mine == s, segment == s
        x, y = c.grid.axes[0][points], rows[:, points]
        mid[:, here] = pchip(x, y, (low[here] + high[here]) / 2)
        move[:, here, 0] = pchip(x, y, high[here]) - pchip(x, y, low[here])
    return mid, move


def _smooth_double(c: Cells, rows: Array) -> tuple[Array, Array]:
    b, _, m = rows.shape
    x, y = c.grid.axes
    (lx, hx, _), (ly, hy, _) = c.axis_cells
    if len(np.unique(c.grid.segments())) > 1:
        flat = np.einsum("ng,bgm->bnm", c.linear, rows)
        grid = flat.reshape(b, len(lx), len(ly), m)
        move = np.stack([np.gradient(grid, axis=1), np.gradient(grid, axis=2)], axis=3)
        return flat, move.reshape(b, len(lx) * len(ly), 2, m)

    def at(first: Array, second: Array) -> Array:
        inner = pchip(y, rows.reshape(b * len(x), len(y), m), second).reshape(b, len(x), -1)
        return pchip(x, inner, first).reshape(b, len(first) * len(second), m)

    mx, my = (lx + hx) / 2, (ly + hy) / 2
    return at(mx, my), np.stack([at(hx, my) - at(lx, my), at(mx, hy) - at(mx, ly)], axis=2)
