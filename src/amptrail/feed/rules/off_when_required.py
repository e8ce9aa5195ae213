"""A load is off whenever the sheet says it must be.

Danger: fuel, ignition, starter, glow plugs, heaters and power take-offs that do not stop. A fan, blower or
lamp may run longer: that is noted, not refused; what it costs the battery is the rule of the sleep current.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.loads import may_run_longer
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark

NAME, SEVERITY = "off_when_required", ALWAYS
BAD = (
    Example("pump.sheet", "from F4.out to PUMP.in fuse 10 A wire 2.5 mm2 2 m cut W9, W10", "W9 open"),
    Example("charge.sheet", "from F4.out to KD.86 fuse 5 A wire 0.75 mm2 1 m cut W11", "W11 open"),
)
GOOD = (
    Example("pump.sheet", "from K4.87 to PUMP.in wire 1.5 mm2 4 m cut W9, W10", "W9 open"),
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for f in case.asked(story):
            if f.wanted != "off":
                continue
            mark = function_mark(NAME, f)
            if not case.oracle and may_run_longer(case.network, f.must):
                mark = replace(mark, severity="note")
            yield mark
