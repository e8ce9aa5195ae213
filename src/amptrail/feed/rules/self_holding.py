"""Nothing that was quiet before first use stays on after the shutdown: no loop that feeds itself.

Danger: a controller or relay that holds itself through the feed never lets go: a flat battery.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.measures import active

NAME, SEVERITY = "self_holding", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    usual = active(case.before_use()) | active(case.healthy_before_use()) | active(case.healthy_asleep())
    for start in case.starts if not case.oracle else case.awake:
        x = case.asleep(start)
        for word in sorted(active(x) - usual):
            yield state(NAME, start, x.phase_name, word, True, False)
