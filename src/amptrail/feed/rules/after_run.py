"""What must go on after key-off goes on: fan, pump, data being stored.

Danger: a hot engine without its fan; a module cut off while it writes its memory.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import Mark, Severities
from amptrail.feed.rules.shared import function_mark, only_low

NAME = "after_run"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example("mainrelay.sheet", "from F3.out to K1.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
    Example("supplies.sheet", "from F3.out to ECM.30 fuse 10 A wire 1 mm2 1 m cut W15", "W15 open"),
)
GOOD = (
    Example("mainrelay.sheet", "from BAT.+ to K1.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
    Example("supplies.sheet", "from BAT.+ to ECM.30 fuse 10 A wire 1 mm2 2 m cut W15", "W15 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for f in case.asked(story):
            mine = f.wanted == "on" and f.after_run
            if mine and not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
                yield function_mark(NAME, f)
