"""The function works again after a shutdown, whatever the vehicle was doing when the feed was fitted.

Danger: the vehicle is driven away and does not start where it is parked.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark, only_low

NAME, SEVERITY = "restarts", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for start in case.starts[1:]:
        for f in case.asked(case.story(start)):
            again = f.instant.step.pass_no > 0 or start in case.named
            if f.wanted != "on" or not again or (f.after_run and not case.oracle):
                continue
            if not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
                yield function_mark(NAME, f)
