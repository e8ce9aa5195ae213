"""`size`: wire and fuse for a current, a length and a place."""

from __future__ import annotations

from amptrail.jobs.base.context import Json, answer
from amptrail.reference import size as choose


def size(amps: float, length_m: float, drop_v: float | None = None, place: str = "cabin") -> Json:
    """Wire, fuse, drop and temperature for a steady current, in metric and AWG, with the sources used."""
    return answer("size", None, choose(amps, length_m, drop_v, place))
