"""Cutting what a test may read into the few outcomes a person can tell apart, with words for each.

Edges lie in the gaps between predictions, never closer than an instrument can tell; a continuum of
severities is cut where its weight halves. Numbers only: predictions come as arrays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.senses import brightness

Array = NDArray[np.float64]
MOST_CLASSES = 8
APART_SIGMAS = 5.0  # neighbours this far apart are different readings to a person
SLIP = 0.02  # share of readings that are not what they seem (common practice)


@dataclass(frozen=True, eq=False)
class Classes:
    """Outcome classes of one test: `low[c]`/`high[c]` in the unit of the test, words, P[h, c]."""

    low: Array
    high: Array
    words: tuple[str, ...]
    chance: Array


def _gaps(value: Array, weight: Array, sigma: float) -> list[float]:
    """Cuts in the middle of every gap wider than APART_SIGMAS, the widest first."""
    order = np.argsort(value, kind="stable")
    v, w = value[order], weight[order]
    keep = w > 1e-9
    v = v[keep]
    if len(v) < 2:
        return []
    gap = np.diff(v)
    wide = np.flatnonzero(gap > APART_SIGMAS * sigma)
    widest = wide[np.argsort(-gap[wide], kind="stable")][: MOST_CLASSES - 1]
    return sorted(float((v[i] + v[i + 1]) / 2) for i in widest)


def _halves(value: Array, weight: Array, cuts: list[float], sigma: float) -> list[float]:
    """More cuts where a class is a wide continuum: at its weighted median."""
    cuts = list(cuts)
    for _ in range(MOST_CLASSES):
        if len(cuts) >= MOST_CLASSES - 1:
            break
        edges = [-math.inf, *cuts, math.inf]
        best: tuple[float, float] | None = None
        for low, high in pairwise(edges):
            inside = (value >= low) & (value < high) & (weight > 1e-9)
            if not inside.any():
                continue
            v, w = value[inside], weight[inside]
            spread = float(v.max() - v.min())
            if spread > 2 * APART_SIGMAS * sigma and (best is None or spread * float(w.sum()) > best[0]):
                order = np.argsort(v, kind="stable")
                at = int(np.searchsorted(np.cumsum(w[order]), w.sum() / 2))
                best = (spread * float(w.sum()), float(v[order][min(at, len(v) - 1)]) + 1e-9)
        if best is None or best[1] in cuts:
            break
        cuts = sorted([*cuts, best[1]])
    return cuts


def _cdf(x: Array) -> Array:
    return np.asarray(0.5 * (1 + _erf(x / math.sqrt(2))), np.float64)


def _erf(x: Array) -> Array:
    """Error function to 1.5e-7 (Abramowitz and Stegun 7.1.26)."""
    t = 1 / (1 + 0.3275911 * np.abs(x))
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    return np.asarray(np.sign(x) * (1 - poly * np.exp(-x * x)), np.float64)


def numeric(value: Array, weight: Array, spread: Array, belief: Array, sigma: float, unit: str) -> Classes:
    """Classes of a numeric test. `value[h, g]`, `weight[h, g]` (rows sum to 1), `spread[h, g]` one sigma
    of tolerance, `belief[h]`, `sigma` of the instrument, all in `unit` (V, A or ohm)."""
    flat, mass = value.ravel(), (weight * belief[:, None]).ravel()
    cuts = _halves(flat, mass, _gaps(flat, mass, sigma), sigma)
    edges = np.asarray([-np.inf, *cuts, np.inf])
    total = np.sqrt(spread**2 + sigma**2)
    below = _cdf((edges[None, None, :] - value[:, :, None]) / total[:, :, None])
    chance = (np.diff(below, axis=2) * weight[:, :, None]).sum(axis=1)
    chance = np.clip(chance, 0.0, 1.0)
    chance = (1 - SLIP) * chance / chance.sum(axis=1, keepdims=True) + SLIP / chance.shape[1]
    low, high = _told(flat, mass, edges)
    words = tuple(words_between(a, b, unit) for a, b in zip(low, high, strict=True))
    return Classes(low, high, words, chance)


def _told(value: Array, mass: Array, edges: Array) -> tuple[Array, Array]:
    """The range of predictions inside each class (what to tell a person)."""
    low, high = np.empty(len(edges) - 1), np.empty(len(edges) - 1)
    for c in range(len(low)):
        inside = (value >= edges[c]) & (value < edges[c + 1]) & (mass > 1e-9)
        if inside.any():
            low[c], high[c] = value[inside].min(), value[inside].max()
        else:
            low[c] = high[c] = edges[c] if np.isfinite(edges[c]) else edges[c + 1]
    return low, high


def _number(x: float, unit: str) -> str:
    if unit == "V":
        return f"{x:z.2f} V" if abs(x) < 1 else f"{x:z.1f} V"
    if unit == "A":
        return f"{x * 1000:z.0f} mA" if abs(x) < 1 else f"{x:z.1f} A"
    return f"{x / 1000:z.1f} kohm" if abs(x) >= 1000 else f"{x:z.1f} ohm"


def words_between(low: float, high: float, unit: str) -> str:
    if unit in ("V", "A") and max(abs(low), abs(high)) < 0.02:
        return f"about 0 {unit}"
    a, b = _number(low, unit), _number(high, unit)
    return f"about {a}" if a == b else f"{a} to {b}"


def chosen(words: Sequence[str], chance: Array, weight: Array) -> Classes:
    """Classes of a test answered in words: P(word)[h, g, word] at every grid point, `weight[h, g]` each."""
    table = (chance * weight[:, :, None]).sum(axis=1)
    table = (1 - SLIP) * table / table.sum(axis=1, keepdims=True) + SLIP / len(words)
    nothing = np.full(len(words), np.nan)
    return Classes(nothing, nothing, tuple(words), table)


def lit(volts: Array, weight: Array, nominal_v: float = 12.0) -> Classes:
    """Classes of a test lamp with `volts[h, g]` across it."""
    p = brightness(volts, nominal_v)
    return chosen(tuple(p), np.stack([p[w] for w in p], axis=2), weight)
