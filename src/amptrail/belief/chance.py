"""Tails of distributions, in plain Python (no scipy at run time)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

SHARES = 200  # shares of tries a fault may show at, as steps


def chi2_tail(x: float, degrees: int) -> float:
    """P(chi-square with `degrees` > x): regularised upper incomplete gamma (series, continued fraction;
    method as in any numerical text, from memory)."""
    if not x > 0 or degrees <= 0:
        return 1.0
    a, half = degrees / 2, min(x, 1e5) / 2
    scale = math.exp(-half + a * math.log(half) - math.lgamma(a)) if half < 700 else 0.0
    return 1 - scale * _series(a, half) if half < a + 1 else scale * _fraction(a, half)


def _series(a: float, x: float) -> float:
    term = total = 1 / a
    n = a
    while term > total * 1e-15:
        n += 1
        term *= x / n
        total += term
    return total


def _fraction(a: float, x: float) -> float:
    tiny = 1e-300
    b = x + 1 - a
    c, d = 1 / tiny, 1 / b
    h = d
    for i in range(1, 500):
        an = -i * (i - a)
        b += 2
        d = 1 / (an * d + b or tiny)
        c = b + an / c or tiny
        h *= d * c
        if abs(d * c - 1) < 1e-14:
            break
    return h


def count_log_likelihood(seen: int, tries: int, chance: float) -> float:
    """Natural log of P(seen of tries) when each try shows with `chance` (kept inside 0.1 … 99.9 %)."""
    p = min(max(chance, 1e-3), 1 - 1e-3)
    ways = math.lgamma(tries + 1) - math.lgamma(seen + 1) - math.lgamma(tries - seen + 1)
    return ways + seen * math.log(p) + (tries - seen) * math.log1p(-p)


def any_share_log_likelihood(
    seen: int, tries: int, shown: NDArray[np.float64], sound: float
) -> NDArray[np.float64]:
    """Natural log of P(seen of tries) of a fault that shows at an unknown share of the tries, all shares
    alike. A try comes out with `shown` where the fault shows and with `sound` where it does not.

    Between certain and impossible every count is equally likely (Bayes 1763, Laplace's rule of succession); a
    fault that changes nothing explains no failure."""
    if not 0 <= seen <= tries:
        raise ValueError(f"{seen} of {tries}")
    share = ((np.arange(SHARES) + 0.5) / SHARES)[:, None]
    p = np.clip(share * shown + (1 - share) * sound, 1e-3, 1 - 1e-3)
    ways = math.lgamma(tries + 1) - math.lgamma(seen + 1) - math.lgamma(tries - seen + 1)
    nats = ways + seen * np.log(p) + (tries - seen) * np.log1p(-p)
    most = nats.max(axis=0)
    return np.asarray(most + np.log(np.exp(nats - most).mean(axis=0)), np.float64)
