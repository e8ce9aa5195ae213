"""`size`: wire and fuse for a current, a length and a place."""

from __future__ import annotations

from amptrail.jobs.context import Json, answer
from amptrail.reference import size as choose

# what the air around a wire is like (common practice; FACTS 6 corrects ampacity by ambient)
PLACE_C = {"cabin": 40.0, "engine-bay": 85.0, "outside": 40.0, "underbody": 50.0, "exhaust": 105.0}


def size(amps: float, length_m: float, drop_v: float | None = None, place: str = "cabin") -> Json:
    """Wire, fuse, drop and temperature for a steady current, in metric and AWG, with the sources used."""
    return answer("size", None, choose(amps, length_m, drop_v, place))
