"""The function works from the moment the feed is fitted to a waking vehicle.

Danger: little; but a feed that is dead when fitted will be doubted, pulled and fitted elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark, only_low

NAME, SEVERITY = "works_fitted_awake", ALWAYS
BAD = (
    Example("pump.sheet", "from BAT.+ to K4.85 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
    Example("glow.sheet", "from KG.85 to GCU.pre wire 0.75 mm2 1 m cut W7", "GCU.glow dead"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
    Example("glow.sheet", "from F4.out to KG.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for start in case.awake:
        for f in case.asked(case.story(start)):
            if f.wanted != "on" or (f.after_run and not case.oracle):
                continue
            mine = f.instant.step.fit or (f.instant.step.pass_no == 0 and not case.oracle)
            if mine and not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
                yield function_mark(NAME, f)
