"""Compiled: hypotheses laid out at their cells, neighbouring cells that read alike merged into rows.

The same as `grids.Cells.smooth` and `linear` and the merging told in `layout`, for many hypotheses of any
grids at once, without the matrix of weights between table rows and cells (mostly zeros).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

Array = Any


@njit(cache=True, nogil=True, error_model="numpy")
def _slopes(x: Array, y: Array, count: int, out: Array) -> None:
    """Monotone (Fritsch-Butland) slopes of y over `count` points x."""
    if count < 2:
        out[0] = 0.0
        return
    before = (y[1] - y[0]) / (x[1] - x[0])
    out[0] = before
    for i in range(1, count - 1):
        h0, h1 = x[i] - x[i - 1], x[i + 1] - x[i]
        after = (y[i + 1] - y[i]) / h1
        if before * after > 0.0:
            w1, w2 = 2.0 * h1 + h0, h1 + 2.0 * h0
            out[i] = (w1 + w2) / (w1 / before + w2 / after)
        else:
            out[i] = 0.0
        before = after
    out[count - 1] = before


@njit(cache=True, nogil=True, error_model="numpy")
def _cubic(x: Array, y: Array, slope: Array, count: int, at: float) -> float:
    """Monotone cubic through y over x, straight beyond the ends."""
    if count == 1:
        return float(y[0])
    i = 0
    while i < count - 2 and x[i + 1] < at:
        i += 1
    h = x[i + 1] - x[i]
    inside = min(max(at, x[0]), x[count - 1])
    t = (inside - x[i]) / h
    d0, d1 = slope[i] * h, slope[i + 1] * h
    step = y[i + 1] - y[i]
    value = y[i] + t * (d0 + t * (3.0 * step - 2.0 * d0 - d1 + t * (d0 + d1 - 2.0 * step)))
    beyond = at - inside
    if beyond < 0.0:
        value += beyond * slope[i]
    elif beyond > 0.0:
        value += beyond * slope[i + 1]
    return float(value)


@njit(cache=True, nogil=True, error_model="numpy")
def _between(x: Array, count: int, at: float) -> tuple[int, float]:
    """The point left of `at` (the last but one at most), the share of the next; constant beyond the ends."""
    i = 0
    while i < count - 2 and x[i + 1] < at:
        i += 1
    if count == 1:
        return 0, 0.0
    return i, min(max((at - x[i]) / (x[i + 1] - x[i]), 0.0), 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def _along_one(
    x: Array, state: Array, edges: Array, mine: Array, mean: Array, corner: Array, share: Array, mid: Array,
    move: Array,
) -> None:  # fmt: skip
    """One severity: table rows and weights, middles and changes of every cell, state by state."""
    n, m = edges.size - 1, mean.shape[1]
    count = 0
    points, value, slope = np.empty(x.size), np.empty(x.size), np.empty(x.size)
    where = np.empty(x.size, np.int64)
    for first in range(n):
        if first > 0 and mine[first] == mine[first - 1]:
            continue
        last = first
        while last < n and mine[last] == mine[first]:
            last += 1
        count = 0
        for g in range(x.size):
            if state[g] == mine[first]:
                points[count], where[count] = x[g], g
                count += 1
        for c in range(first, last):
            i, t = _between(points, count, 0.5 * (edges[c] + edges[c + 1]))
            corner[c, 0], corner[c, 1] = where[i], where[min(i + 1, count - 1)]
            share[c, 0], share[c, 1] = 1.0 - t, t
        for j in range(m):
            for k in range(count):
                value[k] = mean[where[k], j]
            _slopes(points, value, count, slope)
            begin = _cubic(points, value, slope, count, edges[first])
            for c in range(first, last):
                end = _cubic(points, value, slope, count, edges[c + 1])
                mid[c, j] = _cubic(points, value, slope, count, 0.5 * (edges[c] + edges[c + 1]))
                move[c, 0, j] = end - begin
                begin = end


@njit(cache=True, nogil=True, error_model="numpy")
def _corners(x: Array, y: Array, state: Array, ex: Array, ey: Array, corner: Array, share: Array) -> None:
    """Two severities: the four table rows about each cell; of several discrete states only the weightiest."""
    ny, cy = y.size, ey.size - 1
    for a in range(ex.size - 1):
        i, t = _between(x, x.size, 0.5 * (ex[a] + ex[a + 1]))
        for b in range(cy):
            j, u = _between(y, ny, 0.5 * (ey[b] + ey[b + 1]))
            c = a * cy + b
            i1, j1 = min(i + 1, x.size - 1), min(j + 1, ny - 1)
            corner[c, 0], share[c, 0] = i * ny + j, (1.0 - t) * (1.0 - u)
            corner[c, 1], share[c, 1] = i * ny + j1, (1.0 - t) * u
            corner[c, 2], share[c, 2] = i1 * ny + j, t * (1.0 - u)
            corner[c, 3], share[c, 3] = i1 * ny + j1, t * u
            winner, most = state[corner[c, 0]], -1.0
            for p in range(4):
                s, total = state[corner[c, p]], 0.0
                for q in range(4):
                    if state[corner[c, q]] == s:
                        total += share[c, q]
                # rounding must not decide between states of equal weight
                if total > most + 1e-9 or (total > most - 1e-9 and s < winner):
                    winner, most = s, max(total, most)
            kept = 0.0
            for p in range(4):
                if state[corner[c, p]] != winner:
                    share[c, p] = 0.0
                kept += share[c, p]
            for p in range(4):
                share[c, p] /= kept


@njit(cache=True, nogil=True, error_model="numpy")
def _along_two(
    x: Array, y: Array, ex: Array, ey: Array, mean: Array, mid: Array, move: Array
) -> None:  # fmt: skip
    """Two severities of one discrete state: monotone cubics along the second, then along the first."""
    nx, ny, cx, cy, m = x.size, y.size, ex.size - 1, ey.size - 1, mean.shape[1]
    inner = np.empty((2 * cy + 1, nx))  # at the middles along the second severity, then at its edges
    edge = np.empty((cx + 1, cy))
    value, slope = np.empty(max(nx, ny)), np.empty(max(nx, ny))
    for j in range(m):
        for a in range(nx):
            for b in range(ny):
                value[b] = mean[a * ny + b, j]
            _slopes(y, value, ny, slope)
            for b in range(cy):
                inner[b, a] = _cubic(y, value, slope, ny, 0.5 * (ey[b] + ey[b + 1]))
            for b in range(cy + 1):
                inner[cy + b, a] = _cubic(y, value, slope, ny, ey[b])
        for b in range(cy):
            _slopes(x, inner[b], nx, slope)
            for a in range(cx):
                mid[a * cy + b, j] = _cubic(x, inner[b], slope, nx, 0.5 * (ex[a] + ex[a + 1]))
            for a in range(cx + 1):
                edge[a, b] = _cubic(x, inner[b], slope, nx, ex[a])
            for a in range(cx):
                move[a * cy + b, 0, j] = edge[a + 1, b] - edge[a, b]
        for b in range(cy + 1):
            _slopes(x, inner[cy + b], nx, slope)
            for a in range(cx):
                at = _cubic(x, inner[cy + b], slope, nx, 0.5 * (ex[a] + ex[a + 1]))
                if b > 0:
                    move[a * cy + b - 1, 1, j] += at
                if b < cy:
                    move[a * cy + b, 1, j] = -at


@njit(cache=True, nogil=True, error_model="numpy")
def _straight(corner: Array, share: Array, mean: Array, cx: int, cy: int, mid: Array, move: Array) -> None:
    """Two severities of several discrete states: straight within each, changes by neighbouring cells."""
    m = mean.shape[1]
    for c in range(cx * cy):
        for j in range(m):
            mid[c, j] = 0.0
            for q in range(4):
                mid[c, j] += share[c, q] * mean[corner[c, q], j]
    for a in range(cx):
        for b in range(cy):
            c = a * cy + b
            low, high = max(a - 1, 0) * cy + b, min(a + 1, cx - 1) * cy + b
            left, right = a * cy + max(b - 1, 0), a * cy + min(b + 1, cy - 1)
            for j in range(m):
                move[c, 0, j] = (mid[high, j] - mid[low, j]) / max(min(a + 1, cx - 1) - max(a - 1, 0), 1)
                move[c, 1, j] = (mid[right, j] - mid[left, j]) / max(min(b + 1, cy - 1) - max(b - 1, 0), 1)


@njit(cache=True, nogil=True, error_model="numpy")
def _far(
    a: int, b: int, mid: Array, var: Array, others: Array, words: Array, sigma2: Array, limits: Array
) -> float:
    """How far two neighbouring cells are apart; 1: as far as a row may be long. `limits`: sigmas, nats,
    sigmas of wrong places, least volts of theirs, least log of a word."""
    m = sigma2.size
    k = others.shape[1] // m if m else 0
    out = 0.0
    for j in range(m):
        va, vb = var[a, j] + sigma2[j], var[b, j] + sigma2[j]
        spread = np.sqrt(min(va, vb))
        out = max(out, abs(mid[b, j] - mid[a, j]) / (limits[0] * spread))
        out = max(out, abs(np.log(vb / va)) / (2.0 * limits[0]))
        slack = limits[2] * limits[0] * max(spread, limits[3])
        for q in range(j * k, j * k + k):
            out = max(out, abs(others[b, q] - others[a, q]) / slack)
    for w in range(words.shape[1]):
        out = max(out, abs(max(words[b, w], limits[4]) - max(words[a, w], limits[4])) / limits[1])
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _means(
    axes: int, points: Array, split: int, state: Array, edges: Array, edge_split: int, mine: Array,
    mean: Array, corner: Array, share: Array, mid: Array, move: Array,
) -> int:  # fmt: skip
    """Table rows and weights, middles and changes of every cell of one hypothesis; `split`: where the second
    axis begins. Returns how many neighbouring cells lie along the last axis."""
    corner[:], share[:], move[:] = 0, 0.0, 0.0
    if axes == 0:
        share[0, 0] = 1.0
        for j in range(mean.shape[1]):
            mid[0, j] = mean[0, j]
        return 1
    x, ex = points[:split], edges[:edge_split]
    if axes == 1:
        _along_one(x, state, ex, mine, mean, corner, share, mid, move)
        return int(ex.size - 1)
    y, ey = points[split:], edges[edge_split:]
    _corners(x, y, state, ex, ey, corner, share)
    for g in range(state.size):
        if state[g] != state[0]:
            _straight(corner, share, mean, ex.size - 1, ey.size - 1, mid, move)
            return int(ey.size - 1)
    _along_two(x, y, ex, ey, mean, mid, move)
    return int(ey.size - 1)


@njit(cache=True, nogil=True, error_model="numpy")
def _spreads(
    cells: int, corner: Array, share: Array, move: Array, cov: Array, others: Array, words: Array,
    full: Array, var: Array, far: Array, said: Array,
) -> None:  # fmt: skip
    """Covariance, wrong places and words of every cell from the table rows about it."""
    far[:], said[:] = 0.0, 0.0
    for c in range(cells):
        for i in range(var.shape[1]):
            for j in range(i + 1):
                # a cell wider than the reading's spread gives its average: its own width counts as spread
                # (sixth, not twelfth: neighbouring cells then overlap smoothly)
                total = (move[c, 0, i] * move[c, 0, j] + move[c, 1, i] * move[c, 1, j]) / 6.0
                for q in range(4):
                    if share[c, q] != 0.0:
                        total += share[c, q] * cov[corner[c, q], i, j]
                full[c, i, j] = full[c, j, i] = total
            var[c, i] = full[c, i, i]
        for q in range(4):
            if share[c, q] != 0.0:
                for j in range(far.shape[1]):
                    far[c, j] += share[c, q] * others[corner[c, q], j]
                for j in range(said.shape[1]):
                    said[c, j] += share[c, q] * max(words[corner[c, q], j], -700.0)


@njit(cache=True, nogil=True, error_model="numpy")
def lay_out(
    axes: Array, points: Array, point_at: Array, state: Array, row_at: Array, edges: Array, edge_at: Array,
    mine: Array, mine_at: Array, mean: Array, cov: Array, others: Array, words: Array, sigma2: Array,
    weight: Array, cell_at: Array, limits: Array, row_of: Array, log_mass: Array, out_mean: Array,
    out_cov: Array, out_others: Array, out_words: Array,
) -> None:  # fmt: skip
    """Lay out hypothesis after hypothesis; the rows of h are written from `cell_at[h]` on, `row_of` of its
    last cell tells how many they are.

    axes[h]: how many severities it has; `points`, `state`, `edges`, `mine`: points of its axes, state
    of each table row, edges of its cells, state of each cell of a single axis, one after the other;
    mean[rows, m], cov[rows, m, m], others[rows, m * k], words[rows, w]; sigma2[m]: of the instrument;
    weight[cells]: prior mass.
    """
    m, k, w = sigma2.size, others.shape[1], words.shape[1]
    most = 1
    for h in range(axes.size):
        most = max(most, cell_at[h + 1] - cell_at[h])
    corner, share = np.zeros((most, 4), np.int64), np.zeros((most, 4))
    mid, move, full = np.zeros((most, m)), np.zeros((most, 2, m)), np.zeros((most, m, m))
    var, far, said = np.zeros((most, m)), np.zeros((most, k)), np.zeros((most, w))
    for h in range(axes.size):
        n, first = cell_at[h + 1] - cell_at[h], cell_at[h]
        here, lane = state[row_at[h] : row_at[h + 1]], slice(row_at[h], row_at[h + 1])
        own = mine[mine_at[h] : mine_at[h + 1]]
        across = _means(
            axes[h], points[point_at[h, 0] : point_at[h, 2]], point_at[h, 1] - point_at[h, 0], here,
            edges[edge_at[h, 0] : edge_at[h, 2]], edge_at[h, 1] - edge_at[h, 0], own, mean[lane], corner,
            share, mid, move,
        )  # fmt: skip
        _spreads(n, corner, share, move, cov[lane], others[lane], words[lane], full, var, far, said)
        rows, gone, begun = 0, 0.0, 0
        for c in range(n):
            last = c == n - 1
            step = 0.0
            if not last:
                if axes[h] == 1:
                    apart = own[c] != own[c + 1]
                else:
                    apart = (c + 1) % across == 0
                    apart = apart or _of(here, corner, share, c) != _of(here, corner, share, c + 1)
                step = float(n * n) if apart else _far(c, c + 1, mid, var, far, said, sigma2, limits)
            row_of[first + c] = rows
            if last or np.floor(gone + step) > np.floor(gone):
                _merge(
                    begun, c + 1, first, first + rows, weight, mid, full, far, said, log_mass, out_mean,
                    out_cov, out_others, out_words,
                )  # fmt: skip
                rows, begun = rows + 1, c + 1
            gone += step


@njit(cache=True, nogil=True, error_model="numpy")
def _of(state: Array, corner: Array, share: Array, c: int) -> int:
    """The discrete state of a cell of two severities: that of its weightiest table row."""
    best = 0
    for q in range(1, 4):
        if share[c, q] > share[c, best]:
            best = q
    return int(state[corner[c, best]])


@njit(cache=True, nogil=True, error_model="numpy")
def _merge(
    a: int, b: int, first: int, row: int, weight: Array, mid: Array, full: Array, far: Array, said: Array,
    log_mass: Array, out_mean: Array, out_cov: Array, out_others: Array, out_words: Array,
) -> None:  # fmt: skip
    """The cells from a to b of a hypothesis as one row: averages by prior mass, and the spread among them."""
    m = mid.shape[1]
    mass = 0.0
    for c in range(a, b):
        mass += weight[first + c]
    log_mass[row] = np.log(mass)
    for c in range(a, b):
        p = weight[first + c] / mass
        for j in range(m):
            out_mean[row, j] += p * mid[c, j]
        for j in range(far.shape[1]):
            out_others[row, j] += p * far[c, j]
        for j in range(said.shape[1]):
            out_words[row, j] += p * said[c, j]
    for c in range(a, b):
        p = weight[first + c] / mass
        for i in range(m):
            di = mid[c, i] - out_mean[row, i]
            for j in range(m):
                out_cov[row, i, j] += p * (full[c, i, j] + di * (mid[c, j] - out_mean[row, j]))
