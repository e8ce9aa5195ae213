"""What starting the engine does to the supply: the profile of ISO 16750-2, 12 V."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from amptrail.errors import one
from amptrail.reference.rows import Status, rows, status

FALL_S, HOLD_S, RISE_S = 0.005, 0.015, 0.050  # seen: fall 5 ms, hold 15 ms, rise 50 ms
RIPPLE_V = 2.0  # peak to peak at 2 Hz upon the plateau (seen), whose lowest value is the listed one
RISE_STEPS = 5


@dataclass(frozen=True, slots=True)
class Level:
    """One severity of the profile: the first dip and the lowest of the plateau after it, V."""

    name: str
    dip_v: float
    plateau_v: float
    plateau_s: float
    status: Status
    source: str

    @property
    def depth(self) -> float:
        """The dip as a share of the mean of the plateau: what a steady cranking voltage is multiplied by."""
        return self.dip_v / (self.plateau_v + RIPPLE_V / 2)


@cache
def levels() -> tuple[Level, ...]:
    """All severities, as the standard orders them."""
    return tuple(
        Level(
            r["level"], float(r["dip_v"]), float(r["plateau_v"]), float(r["plateau_s"]), status(r["status"]),
            r["source"],
        )
        for r in rows("cranking")
    )  # fmt: skip


def profile(level: str) -> tuple[tuple[float, float], ...]:
    """(seconds after the starter takes its current, share of the plateau) as steps; the last share is 1.

    The slopes become steps of equal area, so that what they feed is steady in between. InputError: no such
    level.
    """
    for known in levels():
        if known.name == level:
            d = known.depth
            break
    else:
        raise one("cranking-level", f"no starting level {level}", expected=tuple(x.name for x in levels()))
    low = FALL_S + HOLD_S
    rise = [(low + k * RISE_S / RISE_STEPS, d + (1 - d) * (k + 0.5) / RISE_STEPS) for k in range(RISE_STEPS)]
    return ((0.0, (1 + d) / 2), (FALL_S, d), *rise, (low + RISE_S, 1.0))
