"""No module output is loaded beyond its limit, cold lamps included.

Danger: the output switches off and latches; the function is dead until the key is turned off, or for
good. A cold filament draws about twelve times its hot current for some ten milliseconds (oracle SCHEMA,
lamp law).
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark, most, state
from amptrail.feed.measures import driver_a

NAME, SEVERITY = "driver_overcurrent", ALWAYS
BAD = (
    Example("rear.sheet", "from BCM.tail to WORK.in fuse 10 A wire 1 mm2 2 m cut W5, W6", "W5 open"),
    Example("pump.sheet", "from BAT.+ to K4.85 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
)
GOOD = (
    Example("rear.sheet", "from SL.1 to WORK.in fuse 7.5 A wire 1 mm2 3 m cut W5, W6", "W5 open"),
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for x in story.instants:
            for driver in x.state.drivers_tripped:
                yield state(NAME, story.start, x.phase_name, driver, True, False)
            if not case.oracle:
                yield from _loads(story.start, x)
    if not case.oracle and case.extra is not None:
        fed, healthy = case.extra.cold
        for x in (fed if case.feeding else healthy).instants:
            for driver in x.state.drivers_tripped:
                yield state(NAME, "asleep", x.phase_name, driver, True, False, lamps="cold")


def _loads(start: str, x: Instant) -> Iterator[Mark]:
    for driver, (amps, limit) in driver_a(x).items():
        yield most(NAME, start, x.phase_name, driver, amps, limit, "A")
