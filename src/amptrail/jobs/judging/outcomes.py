"""Cutting what a test may read into the few outcomes a person can tell apart, with words for each.

Numbers only: predictions come as arrays; where figures are cut is in `belief.cutting`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.senses import brightness

Array = NDArray[np.float64]
SLIP = 0.02  # share of readings that are not what they seem (common practice)


@dataclass(frozen=True, eq=False)
class Classes:
    """Outcome classes of one test: `low[c]`/`high[c]` in the unit of the test, words, P[h, c]."""

    low: Array
    high: Array
    words: tuple[str, ...]
    chance: Array


def numeric(value: Array, weight: Array, spread: float, belief: Array, sigma: float, unit: str) -> Classes:
    """Classes of a numeric test. `value[h, g]`, `weight[h, g]` (rows sum to 1), `spread` one sigma of
    tolerance, `belief[h]`, `sigma` of the instrument, all in `unit` (V, A or ohm)."""
    from amptrail.belief.cutting import chances, cut  # compiled: not loaded before a test is offered

    value, weight = np.ascontiguousarray(value), np.ascontiguousarray(weight)
    edges, low, high = cut(value, weight, belief, sigma)
    chance = chances(value, weight, float(np.hypot(spread, sigma)), edges, SLIP)
    words = tuple(words_between(a, b, unit) for a, b in zip(low.tolist(), high.tolist(), strict=True))
    return Classes(low, high, words, chance)


def _number(x: float, unit: str) -> str:
    if unit == "V":
        return f"{x:z.2f} V" if abs(x) < 1 else f"{x:z.1f} V"
    if unit == "A":
        return f"{x * 1000:z.0f} mA" if abs(x) < 1 else f"{x:z.1f} A"
    return f"{x / 1000:z.1f} kohm" if abs(x) >= 1000 else f"{x:z.1f} ohm"


def words_between(low: float, high: float, unit: str) -> str:
    if unit in ("V", "A") and max(abs(low), abs(high)) < 0.02:
        return f"about 0 {unit}"
    if unit == "V" and max(abs(low), abs(high)) < 0.1:
        return f"{low * 1000:z.0f} mV to {high * 1000:z.0f} mV"
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
