"""Compiled: how well a first look at two causes at once explains the readings.

A first look is a number with no tolerances of its own, at a few severities, of a network taken as linear. So
each reading is as likely as under the sum of what it is worth when the look is right (tolerances as large a
share as those of the first cause or of a usual lane; as wide as half a step to the next severity), when laws
that bend have moved a point behind many ohms, and when the look is off by half a volt or so.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

Array = Any
OFF_V, OFF_SHARE = 0.5, 0.12  # a look that is off: by how much, and how often (measured on generated pairs)
BENT_A, BENT_V, BENT_SHARE = 1e-6, 6.0, 0.4  # what a diode at rest may take, at most so much; the same
LEAST = 1e-30
HALF_WAY, CURVED = 0.5, 0.1  # to the next severity; how far off the straight way a look may be there
WORTH_NATS = -4.5  # a reading: what is less likely is not looked at between severities


@njit(cache=True, nogil=True, error_model="numpy")
def _bell(off: float, var: float) -> float:
    """Normal density."""
    return math.exp(-0.5 * off * off / var) / math.sqrt(2.0 * math.pi * var)


@njit(cache=True, nogil=True, error_model="numpy")
def _worth(off: float, var: float, bent: float, slip: float) -> float:
    """ln of the chance of a reading that a look, exact to `var`, misses by `off`."""
    wide = var + bent * bent
    p = slip + LEAST + OFF_SHARE / (2.0 * OFF_V) * math.exp(-abs(off) / OFF_V)
    p += (1.0 - OFF_SHARE - BENT_SHARE) * _bell(off, var) + BENT_SHARE * _bell(off, wide)
    return math.log(p)


@njit(cache=True, nogil=True, error_model="numpy")
def _between(x: Array, to: Array, read: Array, var: Array, bent: Array, slip: Array, blind: Array) -> float:
    """ln P(readings) on the way from the looks x to those at a neighbouring severity, where they fit best:
    all move together, at most half-way."""
    up, down = 0.0, 1.0 / HALF_WAY
    for m in range(x.size):
        if not blind[m] and not math.isnan(to[m]):
            step, rest = to[m] - x[m], read[m] - x[m]
            own = var[m] + (CURVED * step) ** 2
            up += rest * step / own
            down += step * step / own
    way = min(max(up / down, 0.0), HALF_WAY)
    total = 0.0
    for m in range(x.size):
        if not blind[m]:
            step = 0.0 if math.isnan(to[m]) else to[m] - x[m]
            own = var[m] + (CURVED * step) ** 2
            total += _worth(read[m] - x[m] - way * step, own, bent[m], slip[m])
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def add_hopes(
    value: Array, source: Array, mean: Array, sigma: Array, usual: Array, read: Array, own: Array,
    slip: Array, alone: Array, second: Array, owner: Array, seconds_owner: Array, out: Array,
    first: int, last: int,
) -> None:  # fmt: skip
    """out[lane, fault] += ln P(readings) by value[lane, fault, m] (NaN: none), ohms source behind it.

    mean, sigma [lane, m]: the first cause alone, one sigma of its tolerances; usual[m]: their usual share of
    a reading; read, own, slip [m]: reading, its variance, density of a slip; alone[lane, m] and
    second[fault, m]: ln P by each cause, at its best, where there is no look. owner, seconds_owner: number of
    the cause a lane or fault belongs to; neighbours of one cause are its next severities."""
    lanes, faults, count = value.shape
    var, bent, blind = np.zeros(count), np.zeros(count), np.zeros(count, np.uint8)
    for n in range(first, last):
        below, above = n > 0 and owner[n - 1] == owner[n], n + 1 < lanes and owner[n + 1] == owner[n]
        for f in range(faults):
            before = f > 0 and seconds_owner[f - 1] == seconds_owner[f]
            after = f + 1 < faults and seconds_owner[f + 1] == seconds_owner[f]
            total, rest = 0.0, 0.0  # with half a step of doubt; of the readings there is no look at
            for m in range(count):
                x = value[n, f, m]
                blind[m] = math.isnan(x)
                if blind[m]:
                    rest += max(alone[n, m], second[f, m])
                    continue
                step = 0.0
                if above:
                    step = _farther(step, value[n + 1, f, m] - x)
                if below:
                    step = _farther(step, value[n - 1, f, m] - x)
                if after:
                    step = _farther(step, value[n, f + 1, m] - x)
                if before:
                    step = _farther(step, value[n, f - 1, m] - x)
                beside = min(1.0, abs(x) / max(abs(mean[n, m]), 1e-3)) * sigma[n, m]
                tolerance = max(usual[m] * abs(x), beside)
                var[m] = own[m] + tolerance * tolerance
                bent[m] = min(BENT_A * source[n, f, m], BENT_V)
                total += _worth(read[m] - x, var[m] + 0.25 * step * step, bent[m], slip[m])
            if total > WORTH_NATS * count:
                x, best = value[n, f], total
                if above:
                    best = max(best, _between(x, value[n + 1, f], read, var, bent, slip, blind))
                if below:
                    best = max(best, _between(x, value[n - 1, f], read, var, bent, slip, blind))
                if after:
                    best = max(best, _between(x, value[n, f + 1], read, var, bent, slip, blind))
                if before:
                    best = max(best, _between(x, value[n, f - 1], read, var, bent, slip, blind))
                total = best
            out[n, f] += total + rest


@njit(cache=True, nogil=True, error_model="numpy")
def _farther(step: float, other: float) -> float:
    """The larger of two steps; one that is not known is none."""
    return max(step, abs(other)) if not math.isnan(other) else step


@njit(cache=True, nogil=True, error_model="numpy")
def best_of(hope: Array, owner: Array, seconds_owner: Array, out: Array) -> None:
    """out[cause, cause] raised to the best of their severities."""
    for n in range(hope.shape[0]):
        for f in range(hope.shape[1]):
            if hope[n, f] > out[owner[n], seconds_owner[f]]:
                out[owner[n], seconds_owner[f]] = hope[n, f]


def best_pairs(hope: Array, owner: Array, seconds_owner: Array, causes: int) -> Array:
    """[cause, second cause] of hope[lane, fault] at the best severities of both; -inf: there is none."""
    out = np.full((causes, causes), -np.inf)
    best_of(hope, owner, seconds_owner, out)
    return out
