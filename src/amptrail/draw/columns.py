"""Where everything stands from left to right: as many straight lines as the width allows.

Every node, every pin of a stretching node and every passing net is a variable; neighbours keep their distance
(x_j - x_i >= d). The longest distances between all pairs say exactly whether two variables can still stand
in line, so pins are put in line one pair at a time, long runs first, as long as that is possible and the
drawing does not grow too wide. What is left free then slides to the middle of what it is joined to.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from amptrail.draw.graph import GRID, up_to_grid
from amptrail.draw.order import Item, Layers

NEVER = -1e18
WIDER = 1.4  # how much wider than its widest layer a drawing may become for straight lines
WIDER_PX = 240  # and at most by this: what is wide already has to be moved about on a screen
SLIDES = 10
NEARLY = 4 * GRID  # lines that miss each other by so little are put in line if at all possible
GAP = GRID  # between neighbours

Distances = NDArray[np.float64]


class _Variables:
    """Variables with their extents, the place of each pin, and the distances within layers."""

    def __init__(self, layers: Layers) -> None:
        self.left: list[int] = []
        self.right: list[int] = []
        self.pin: dict[int, tuple[int, int]] = {}  # id(pin) -> (variable, offset)
        self.passing: set[int] = set()
        ends: list[list[tuple[list[int], list[int]]]] = []  # per layer, per item: first and last variables
        steps: list[tuple[int, int, int]] = []
        for row in layers.rows:
            ends.append([self._item(item, steps) for item in row])
        n = len(self.left)
        self.distance: Distances = np.full((n, n), NEVER)
        self.distance[np.diag_indices(n)] = 0.0
        for row_ends in ends:
            for (_, lasts), (firsts, _) in pairwise(row_ends):
                steps += [(a, b, self.right[a] + self.left[b] + GAP) for a in lasts for b in firsts]
        for a, b, d in sorted(steps):  # variables are numbered from left to right within a layer
            self.distance[a, b] = max(self.distance[a, b], d)
        for b in range(n):
            for before in np.flatnonzero(self.distance[:b, b] > NEVER / 2):
                through = self.distance[:, before] + self.distance[before, b]
                self.distance[:, b] = np.maximum(self.distance[:, b], through)

    def _new(self, left: int, right: int) -> int:
        self.left.append(up_to_grid(left))
        self.right.append(up_to_grid(right))
        return len(self.left) - 1

    def _item(self, item: Item, steps: list[tuple[int, int, int]]) -> tuple[list[int], list[int]]:
        if item.node is None or not item.node.stretches:
            v = self._new(item.left, item.right)
            if item.node is None:
                self.passing.add(v)
            for p in (*item.tops, *item.bottoms):
                self.pin[id(p)] = (v, p.dx)
            return [v], [v]
        firsts, lasts = [], []
        for row in (item.tops, item.bottoms):
            before: int | None = None
            for k, p in enumerate(row):
                left = p.left + (item.left if k == 0 else 0)
                right = p.right + (item.right if k == len(row) - 1 else 0)
                v = self._new(left, right)
                self.pin[id(p)] = (v, 0)
                if before is None:
                    firsts.append(v)
                else:
                    steps.append((before, v, up_to_grid(row[k - 1].right) + up_to_grid(p.left)))
                before = v
            if before is not None:
                lasts.append(before)
        return firsts, lasts


def _joins(layers: Layers, v: _Variables) -> list[tuple[int, int, int, int]]:
    """(rank, a, b, d): variables that would make a straight line at x_b - x_a = d; low ranks first."""
    found: list[tuple[int, int, int, int]] = []
    for c in range(layers.channels()):
        upper, lower = layers.upper(c), layers.lower(c)
        nets = dict.fromkeys(p.net for p in upper)
        for net in nets:
            us = [v.pin[id(p)] for p in upper if p.net == net]
            ds = [v.pin[id(p)] for p in lower if p.net == net]
            for a, da in us:
                for k, (b, db) in enumerate(ds):
                    both = (a in v.passing) + (b in v.passing)
                    off_middle = abs(2 * k - (len(ds) - 1))
                    rank = 0 if both == 2 else 10 + off_middle + (0 if len(us) * len(ds) == 1 else 20)
                    found.append((rank, a, b, da - db))
    for item in (i for row in layers.rows for i in row):
        if item.node is not None and item.node.shape == "splice":  # straight through, where it can be
            for p in item.tops:
                for k, q in enumerate(item.bottoms):
                    found.append((12 + k, v.pin[id(p)][0], v.pin[id(q)][0], 0))
    return sorted(found, key=lambda f: f[0])


def _width(v: _Variables) -> float:
    """Least width of the drawing, as agreed so far."""
    left, right = np.array(v.left, float), np.array(v.right, float)
    return float((left[:, None] + v.distance + right[None, :]).max(initial=0.0))


def _line_up(v: _Variables, joins: Sequence[tuple[int, int, int, int]], most: float) -> None:
    """Put pairs in line, in order, where possible; `distance` then holds what was agreed."""
    d = v.distance
    left, right = np.array(v.left, float), np.array(v.right, float)
    for _, a, b, w in joins:
        if d[a, b] > w or d[b, a] > -w:
            continue
        after = np.maximum(d, (d[:, a] + w)[:, None] + d[b, :][None, :])
        after = np.maximum(after, (after[:, b] - w)[:, None] + after[a, :][None, :])
        if float((left[:, None] + after + right[None, :]).max()) <= most:
            d = after
    v.distance = d


def _blocks(d: Distances) -> list[list[int]]:
    seen: set[int] = set()
    out = []
    for i in range(len(d)):
        if i not in seen:
            group = [int(j) for j in np.flatnonzero(d[i] == -d[:, i])]
            seen.update(group)
            out.append(group)
    return out


def _slide(v: _Variables, x: Distances, joins: Sequence[tuple[int, int, int, int]]) -> None:
    """Move every block, in turn, to the middle of what it is joined to, as far as its neighbours let it."""
    d = v.distance
    blocks = _blocks(d)
    of = {i: k for k, group in enumerate(blocks) for i in group}
    pulls: list[list[tuple[int, int, int]]] = [[] for _ in blocks]  # own variable, other variable, offset
    for _, a, b, w in joins:
        if of[a] != of[b]:
            pulls[of[a]].append((a, b, -w))
            pulls[of[b]].append((b, a, w))
    left = np.array(v.left, float)
    for turn in range(SLIDES):
        order = sorted(range(len(blocks)), key=lambda k: float(x[blocks[k][0]]), reverse=turn % 2 == 0)
        for k in order:
            if not pulls[k]:
                continue
            group = blocks[k]
            shifts = sorted(float(x[other] + w - x[own]) for own, other, w in pulls[k])
            want = shifts[(len(shifts) - 1) // 2 if turn % 2 else len(shifts) // 2]
            others = np.ones(len(x), bool)
            others[group] = False
            i = group[0]
            edge = float((left[group] - x[group]).max() + x[i])
            low = max(float((x[others] + d[others, i]).max(initial=NEVER)), edge)
            high = float((x[others] - d[i, others]).min(initial=-NEVER))
            x[group] += min(max(want, low - x[i]), high - x[i])


def _placed(v: _Variables, joins: Sequence[tuple[int, int, int, int]]) -> Distances:
    left = np.array(v.left, float)
    x: Distances = np.maximum(left, (left[:, None] + v.distance).max(axis=0, initial=0.0))
    _slide(v, x, joins)
    return x


def columns(layers: Layers, wider: float = WIDER) -> dict[int, int]:
    """id(pin) -> x in px, on the grid, from 0; nodes and lines of a layer keep their distance."""
    v = _Variables(layers)
    joins = _joins(layers, v)
    least = _width(v)
    _line_up(v, joins, min(least * wider, least + WIDER_PX))
    x = _placed(v, joins)
    nearly = [(rank, a, b, w) for rank, a, b, w in joins if 0 < abs(x[b] - x[a] - w) <= NEARLY]
    if nearly:
        _line_up(v, nearly, max(_width(v), float((x + np.array(v.right)).max())) + NEARLY)
        x = _placed(v, joins)
    return {pin: int(x[var]) + offset for pin, (var, offset) in v.pin.items()}
