"""How good a drawing is, counted from its finished geometry and from nothing the layout believes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Rect = tuple[float, float, float, float]  # left, upper, right, lower
Piece = tuple[tuple[int, int], tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Metrics:
    """Counts of what must not be (first four), and what should be little. `wire_px` is length of lines."""

    label_collisions: int
    labels_on_wires: int
    net_overlaps: int
    wires_through_symbols: int
    crossings: int
    bends: int
    wire_px: int
    width_px: int
    height_px: int
    parts: int
    labels: int


def overlap(a: Rect, b: Rect) -> bool:
    """Do two rectangles share more than an edge?"""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def rect_of(piece: Piece, half: float = 0.5) -> Rect:
    """A piece of line as the rectangle it paints."""
    (x0, y0), (x1, y1) = piece
    return (min(x0, x1) - half, min(y0, y1) - half, max(x0, x1) + half, max(y0, y1) + half)


def collisions(rects: Sequence[Rect]) -> int:
    """Pairs that overlap."""
    order = sorted(rects)
    count = 0
    for i, a in enumerate(order):
        for b in order[i + 1 :]:
            if b[0] >= a[2]:
                break
            count += overlap(a, b)
    return count


def between(first: Sequence[Rect], second: Sequence[Rect]) -> int:
    """Pairs of one and the other that overlap."""
    return sum(overlap(a, b) for a in first for b in second)


def _upright(p: Piece) -> bool:
    return p[0][0] == p[1][0]


def lines(nets: Sequence[Sequence[Piece]]) -> tuple[int, int]:
    """(overlaps, crossings) between pieces of different nets; touching counts as an overlap."""
    flat = [(i, p) for i, pieces in enumerate(nets) for p in pieces]
    overlaps = crossings = 0
    for k, (i, p) in enumerate(flat):
        for j, q in flat[k + 1 :]:
            if i == j:
                continue
            if _upright(p) == _upright(q):
                axis = 0 if _upright(p) else 1
                if p[0][axis] == q[0][axis]:
                    other = 1 - axis
                    lo, hi = max(p[0][other], q[0][other]), min(p[1][other], q[1][other])
                    overlaps += lo <= hi
            else:
                v, h = (p, q) if _upright(p) else (q, p)
                x, y = v[0][0], h[0][1]
                if h[0][0] <= x <= h[1][0] and v[0][1] <= y <= v[1][1]:
                    inside = h[0][0] < x < h[1][0] and v[0][1] < y < v[1][1]
                    # pieces are cut where their own net meets: touching an end is a crossing only when the
                    # line goes on beyond it
                    crossings += inside
                    overlaps += 0 if inside else _corner(nets[i], nets[j], (x, y))
    return overlaps, crossings


def _corner(a: Sequence[Piece], b: Sequence[Piece], at: tuple[int, int]) -> int:
    """1 where two nets touch in a point at which either of them ends or bends."""
    return int(any(sum(at in p for p in pieces) > 0 for pieces in (a, b)))
