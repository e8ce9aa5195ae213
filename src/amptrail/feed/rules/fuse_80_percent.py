"""A fuse carries at most 80 % of its rating for long, old and new load together.

Danger: a fuse that runs hot ages and opens one day; its holder melts. Source of the 80 %: ABYC E-11
text (125 %), reference.sizing.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant
from amptrail.feed.example import Example
from amptrail.feed.flags import FUSE_SHARE, FUSE_TIMES
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.measures import at, by_phase, fuse_a, ratings

NAME = "fuse_80_percent"
LONG_S = 600.0
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example("pump.sheet", "from BAT.+ to K4.30 fuse 5 A wire 2.5 mm2 2 m cut W8", "W8 open"),
    Example("fan.sheet", "from BAT.+ to KF.30 fuse 15 A wire 2.5 mm2 1.5 m cut W8", "W8 open"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.30 fuse 7.5 A wire 0.75 mm2 3 m cut W8", "W8 open"),
    Example("fan.sheet", "from BAT.+ to KF.30 fuse 20 A wire 2.5 mm2 1.5 m cut W8", "W8 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    rating, healthy = ratings(case.network), by_phase([case.beside("asleep")], fuse_a)
    for story in case.stories():
        for x in story.instants:
            if not case.oracle and not _long(case, x):
                continue
            for name, amps in fuse_a(x).items():
                limit = max(FUSE_SHARE * rating[name], FUSE_TIMES * at(healthy, x.phase, name))
                yield most(NAME, story.start, x.phase_name, name, amps, limit, "A")


def _long(case: Case, x: Instant) -> bool:
    """Whether a load may last over ten minutes: running and asleep do, other phases by their time."""
    phase = case.network.phases[x.phase]
    return phase.base in ("running", "asleep") or float(case.network.static.duration[x.phase]) >= LONG_S
