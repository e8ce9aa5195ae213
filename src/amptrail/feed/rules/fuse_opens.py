"""No fuse opens in normal use.

Danger: the vehicle stops at a place nobody chose; the next person fits a larger fuse.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "fuse_opens", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for x in story.instants:
            for fuse in x.state.fuses_open:
                yield state(NAME, story.start, x.phase_name, fuse, True, False)
