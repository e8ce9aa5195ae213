"""What works when the feed is fitted awake also works from a vehicle that slept.

Danger: the point is live only because the thing it feeds is on; after a night nothing wakes it.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.flags import dead_locks
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "dead_lock", ALWAYS
BAD = (
    Example("pump.sheet", "from K4.87 to K4.86 fuse 5 A wire 0.75 mm2 0.3 m cut W13", "W13 open"),
    Example("mainrelay.sheet", "from K1.87 to K1.86 fuse 5 A wire 0.75 mm2 0.3 m cut W6", "W6 open"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
    Example("mainrelay.sheet", "from BAT.+ to K1.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    told = {s: case.asked(case.story(s)) for s in ("asleep", *case.awake)}
    for function, phase in dead_locks(told):
        yield state(NAME, "asleep", phase, function, False, True)
