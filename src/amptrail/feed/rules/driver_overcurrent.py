"""No module output is loaded beyond its limit.

Danger: the output switches off and latches; the function is dead until the key is turned off, or for good.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "driver_overcurrent", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for x in story.instants:
            for driver in x.state.drivers_tripped:
                yield state(NAME, story.start, x.phase_name, driver, True, False)
