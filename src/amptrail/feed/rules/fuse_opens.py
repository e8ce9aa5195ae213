"""No fuse opens in normal use.

Danger: the vehicle stops at a place nobody chose; the next person fits a larger fuse.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "fuse_opens", ALWAYS
BAD = (
    Example("pump.sheet", "from BAT.+ to K4.30 fuse 3 A wire 2.5 mm2 2 m cut W8", "W8 open"),
    Example("fan.sheet", "from BAT.+ to KF.30 fuse 10 A wire 2.5 mm2 1.5 m cut W8", "W8 open"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.30 fuse 7.5 A wire 0.75 mm2 3 m cut W8", "W8 open"),
    Example("fan.sheet", "from BAT.+ to KF.30 fuse 20 A wire 2.5 mm2 1.5 m cut W8", "W8 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for x in story.instants:
            for fuse in x.state.fuses_open:
                yield state(NAME, story.start, x.phase_name, fuse, True, False)
