"""What works when the feed is fitted awake also works from a vehicle that slept.

Danger: the point is live only because the thing it feeds is on; after a night nothing wakes it.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.flags import dead_locks
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "dead_lock", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    told = {s: case.asked(case.story(s)) for s in ("asleep", *case.awake)}
    for function, phase in dead_locks(told):
        yield state(NAME, "asleep", phase, function, False, True)
