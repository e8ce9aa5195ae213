"""The sleeping vehicle draws no more than the sheet allows.

Danger: a flat battery after a night or a week.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.flags import sleep_limit_a
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.measures import battery_a

NAME = "sleep_current"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}


def marks(case: Case) -> Iterator[Mark]:
    limit = sleep_limit_a(case.lives)
    if limit is None:
        return
    for start in case.starts:
        x = case.asleep(start)
        battery = next(p.name for p in case.circuit.parts if p.kind == "battery")
        yield most(NAME, start, x.phase_name, battery, battery_a(x), limit, "A")
