"""The function works in every phase that needs it, starting from a vehicle that slept.

Danger: a feed that works on the bench and leaves the vehicle dead the next morning.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark, only_low

NAME, SEVERITY = "restores_from_asleep", ALWAYS
BAD = (
    Example("pump.sheet", "from K4.87 to K4.86 fuse 5 A wire 0.75 mm2 0.3 m cut W13", "W13 open"),
    Example("pump.sheet", "from BAT.+ to K4.30 fuse 3 A wire 2.5 mm2 2 m cut W8", "W8 open"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
    Example("pump.sheet", "from BAT.+ to K4.30 fuse 7.5 A wire 0.75 mm2 3 m cut W8", "W8 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for f in case.asked(case.story("asleep")):
        if f.wanted != "on" or (f.after_run and not case.oracle):
            continue
        if not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
            yield function_mark(NAME, f)
