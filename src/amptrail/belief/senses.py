"""P(word | what the part gets): brightness, works or not, clicks, answers, looks.

Figures: NUMERICS, "Senses" (common practice; to be learned from proven jobs).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from amptrail.belief.tables import Array

BRIGHT_FROM, DIM_FROM, EDGE = 0.75, 0.25, 0.05
HEARD, IMAGINED = 0.95, 0.02


def _step(x: Array, edge: float, width: float) -> Array:
    return np.asarray(1 / (1 + np.exp(-np.clip((x - edge) / width, -60, 60))), np.float64)


def brightness(volts: ArrayLike, nominal_v: float) -> dict[str, Array]:
    """P(bright), P(dim), P(dark) for a lamp with `volts` across it; they sum to one."""
    share = np.abs(np.asarray(volts, float)) / nominal_v
    bright, lit = _step(share, BRIGHT_FROM, EDGE), _step(share, DIM_FROM, EDGE)
    return {"bright": bright, "dim": np.maximum(lit - bright, 0.0), "dark": 1 - np.maximum(lit, bright)}


def works(value: ArrayLike, low: float = -np.inf, high: float = np.inf) -> dict[str, Array]:
    """P(works), P(does not) for a `must` band; each edge is a logistic 10 % of its limit wide."""
    v = np.asarray(value, float)
    p = np.ones_like(v)
    if np.isfinite(low):
        p = p * _step(v, low, max(0.1 * abs(low), 1e-6) / 2)
    if np.isfinite(high):
        p = p * _step(-v, -high, max(0.1 * abs(high), 1e-6) / 2)
    return {"works": p, "does not": 1 - p}


def two_way(happens: ArrayLike, hit: float, false: float, words: tuple[str, str]) -> dict[str, Array]:
    """P of a yes/no observation: `happens` is the chance that the thing is so."""
    p = hit * np.asarray(happens, float) + false * (1 - np.asarray(happens, float))
    return {words[0]: p, words[1]: 1 - p}


def clicks(changes_state: ArrayLike) -> dict[str, Array]:
    """P(clicks), P(no click) given that the armature changes state in the phase (0/1 or a chance)."""
    return two_way(changes_state, HEARD, IMAGINED, ("clicks", "no click"))


def answers(awake_and_bus_alive: ArrayLike) -> dict[str, Array]:
    """P(answers), P(silent) given module awake and its bus inside 1.5 … 3.5 V."""
    return two_way(awake_and_bus_alive, 0.98, 0.02, ("answers", "silent"))


def looks(shows: ArrayLike, hit: float = 0.6, false: float = 0.03) -> dict[str, Array]:
    """P(seen), P(not seen) of a fault that would be visible; hit and false rates by fault mode."""
    return two_way(shows, hit, false, ("seen", "not seen"))


def word_column(probability: ArrayLike) -> Array:
    """Natural-log likelihood column; a word is never quite impossible."""
    return np.asarray(np.log(np.maximum(np.asarray(probability, float), 1e-6)), np.float64)
