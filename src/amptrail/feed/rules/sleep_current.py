"""The sleeping vehicle draws no more than the sheet allows.

Danger: a flat battery after a night or a week.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.flags import sleep_limit_a
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.measures import battery_a

NAME = "sleep_current"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example("pump.sheet", "from BAT.+ to PUMP.in fuse 15 A wire 2.5 mm2 3 m cut W13", "W13 open"),
    Example("start.sheet", "from BAT.+ to KS.86 fuse 5 A wire 0.75 mm2 2 m cut W8", "W8 open"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
    Example("start.sheet", "from NEUTRAL.out to KS.86 fuse 5 A wire 0.75 mm2 1 m cut W8", "W8 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    limit = sleep_limit_a(case.lives)
    if limit is None:
        return
    for start in case.starts:
        x = case.asleep(start)
        battery = next(p.name for p in case.circuit.parts if p.kind == "battery")
        yield most(NAME, start, x.phase_name, battery, battery_a(x), limit, "A")
