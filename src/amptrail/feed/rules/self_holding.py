"""Nothing that was quiet before first use stays on after the shutdown: no loop that feeds itself.

Danger: a controller or relay that holds itself through the feed never lets go: a flat battery.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.measures import active

NAME, SEVERITY = "self_holding", ALWAYS
BAD = (
    Example("mainrelay.sheet", "from K1.87 to ECM.15 fuse 5 A wire 0.75 mm2 1 m cut W5", "W5 open"),
    Example("charge.sheet", "from KD.87 to ALT.D+ fuse 5 A wire 0.75 mm2 1 m cut W8, W9", "CHG open"),
)
GOOD = (
    Example("mainrelay.sheet", "from F4.out to ECM.15 fuse 5 A wire 0.75 mm2 1 m cut W5", "W5 open"),
    Example("charge.sheet", "from ALT.D+ to KD.86 fuse 5 A wire 0.75 mm2 1.6 m cut W11", "W11 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    usual = active(case.before_use()) | active(case.healthy_before_use()) | active(case.healthy_asleep())
    for start in case.starts if not case.oracle else case.awake:
        x = case.asleep(start)
        for word in sorted(active(x) - usual):
            yield state(NAME, start, x.phase_name, word, True, False)
