"""No current runs backwards into a module output.

Danger: an output stage heated through its body diode; a module held alive, or woken, through its own pins.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.flags import BACK_FEED_A, BACK_FEED_TIMES
from amptrail.feed.marks import ALWAYS, Mark, most
from amptrail.feed.measures import at, by_phase, reverse_a

NAME, SEVERITY = "back_feed", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    healthy = by_phase([case.beside("asleep")], reverse_a)
    for story in case.stories():
        for x in story.instants:
            for name, amps in reverse_a(x).items():
                base = max(at(healthy, x.phase, name), 0.0)
                limit = max(BACK_FEED_A, BACK_FEED_TIMES * base + BACK_FEED_A)
                yield most(NAME, story.start, x.phase_name, name, max(amps, 0.0), limit, "A")
