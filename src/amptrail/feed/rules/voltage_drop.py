"""The function still has its volts when the battery gives 10.5 V.

Danger: a pump too slow, a relay that does not pull on a cold morning. Looked at in the cold corner only.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import Mark, Severities
from amptrail.feed.rules.shared import function_mark, only_low

NAME = "voltage_drop"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (Example("pump.sheet", "from BAT.+ to K4.30 fuse 7.5 A wire 0.5 mm2 12 m cut W8", "W8 open"),)
GOOD = (Example("pump.sheet", "from BAT.+ to K4.30 fuse 7.5 A wire 0.5 mm2 5 m cut W8", "W8 open"),)


def marks(case: Case) -> Iterator[Mark]:
    if case.corner != "cold":
        return
    for story in case.stories():
        for f in case.asked(story):
            if f.wanted == "on" and (f.ok or only_low(f)) and not f.must.module:
                yield function_mark(NAME, f)
