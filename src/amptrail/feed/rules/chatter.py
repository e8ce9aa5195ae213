"""Everything comes to rest: no relay buzzes, no module resets over and over.

Danger: contacts burn, fuses age, a module's memory is damaged.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.measures import buzzing

NAME, SEVERITY = "chatter", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for x in story.instants:
            for word in sorted(buzzing(x)):
                yield state(NAME, story.start, x.phase_name, word, True, False)
