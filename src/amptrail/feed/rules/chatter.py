"""Everything comes to rest: no relay buzzes, no module resets over and over.

Danger: contacts burn, fuses age, a module's memory is damaged.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.measures import buzzing

NAME, SEVERITY = "chatter", ALWAYS
BAD = (
    Example("mainrelay.sheet", "from K1.87a to K1.86 fuse 5 A wire 0.75 mm2 0.3 m cut W6", "W6 open"),
    Example("supplies.sheet", "from R_BLOW.out to ECM.30 fuse 5 A wire 1 mm2 1 m cut W15", "W15 open"),
)
GOOD = (
    Example("mainrelay.sheet", "from BAT.+ to K1.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
    Example("supplies.sheet", "from BAT.+ to ECM.30 fuse 10 A wire 1 mm2 2 m cut W15", "W15 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for x in story.instants:
            for word in sorted(buzzing(x)):
                yield state(NAME, story.start, x.phase_name, word, True, False)
