"""Nothing is on before first use that sleeps in the healthy vehicle.

Danger: a relay, output or module that the feed itself switches on, day and night.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.measures import active

NAME, SEVERITY = "permanently_on", ALWAYS
BAD = (
    Example("pump.sheet", "PJ18", "ECM.mr dead"),
    Example("mainrelay.sheet", "from BAT.+ to ECM.15 fuse 5 A wire 0.75 mm2 1.5 m cut W5", "W5 open"),
)
GOOD = (
    Example("pump.sheet", "from BAT.+ to K4.86 fuse 5 A wire 0.75 mm2 1.5 m cut W13", "W13 open"),
    Example("mainrelay.sheet", "from F4.out to ECM.15 fuse 5 A wire 0.75 mm2 1 m cut W5", "W5 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    x = case.before_use()
    for word in sorted(active(x) - active(case.healthy_before_use())):
        yield state(NAME, "asleep", x.phase_name, word, True, False)
