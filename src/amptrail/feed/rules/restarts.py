"""The function works again after a shutdown, whatever the vehicle was doing when the feed was fitted.

Danger: the vehicle is driven away and does not start where it is parked.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark, only_low

NAME, SEVERITY = "restarts", ALWAYS
BAD = (
    Example("mainrelay.sheet", "from K1.87 to K1.86 fuse 5 A wire 0.75 mm2 0.3 m cut W6", "W6 open"),
    Example("pump.sheet", "from K4.87 to K4.86 fuse 5 A wire 0.75 mm2 0.3 m cut W13", "W13 open"),
)
GOOD = (
    Example("mainrelay.sheet", "from BAT.+ to K1.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for start in case.starts[1:]:
        for f in case.asked(case.story(start)):
            again = f.instant.step.pass_no > 0 or start in case.named
            if f.wanted != "on" or not again or (f.after_run and not case.oracle):
                continue
            if not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
                yield function_mark(NAME, f)
