"""A load is off whenever the sheet says it must be.

Danger: fuel, ignition, starter, glow plugs, heaters and power take-offs that do not stop. A fan, blower or
lamp may run longer: that is noted, not refused; what it costs the battery is the rule of the sleep current.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.feed.case import Case
from amptrail.feed.loads import may_run_longer
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark

NAME, SEVERITY = "off_when_required", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for f in case.asked(story):
            if f.wanted != "off":
                continue
            mark = function_mark(NAME, f)
            if not case.oracle and may_run_longer(case.network, f.must):
                mark = replace(mark, severity="note")
            yield mark
