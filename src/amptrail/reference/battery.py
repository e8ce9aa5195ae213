"""A lead battery at rest: how full it is by its volts, and what of its charge it gives in the cold."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

from amptrail.reference.rows import rows

USABLE = 0.5  # of a full charge gone, an engine may no longer start (common practice)
DOUBLE_V = 18.0  # above: two batteries in series, read as half


@cache
def _line(table: str, x: str) -> tuple[tuple[float, float], ...]:
    return tuple(sorted((float(r[x]), float(r["share"])) for r in rows(table)))


def _between(points: tuple[tuple[float, float], ...], x: float) -> float:
    """On straight lines between the points, flat beyond them."""
    if x <= points[0][0]:
        return points[0][1]
    for (a, p), (b, q) in pairwise(points):
        if x <= b:
            return p + (q - p) * (x - a) / (b - a)
    return points[-1][1]


def charge_share(volts: float) -> float:
    """Share of a full charge, 0 to 1, by the volts at rest (hours after charging, nothing drawn)."""
    return _between(_line("rest_volts", "volts"), volts / 2 if volts > DOUBLE_V else volts)


def cold_share(celsius: float) -> float:
    """Share of its charge that a battery gives at a temperature, 0 to 1."""
    return _between(_line("cold_charge", "celsius"), celsius)


def hours_left(amps: float, battery_ah: float, share: float, celsius: float) -> float:
    """Hours until an engine may no longer start, at a steady current; 0 when that is so now."""
    left = max(share - (1 - USABLE), 0.0) * battery_ah * cold_share(celsius)
    return left / amps
