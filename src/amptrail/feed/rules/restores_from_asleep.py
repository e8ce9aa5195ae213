"""The function works in every phase that needs it, starting from a vehicle that slept.

Danger: a feed that works on the bench and leaves the vehicle dead the next morning.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark
from amptrail.feed.rules.shared import function_mark, only_low

NAME, SEVERITY = "restores_from_asleep", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for f in case.asked(case.story("asleep")):
        if f.wanted != "on" or (f.after_run and not case.oracle):
            continue
        if not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
            yield function_mark(NAME, f)
