"""What must go on after key-off goes on: fan, pump, data being stored.

Danger: a hot engine without its fan; a module cut off while it writes its memory.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import Mark, Severities
from amptrail.feed.rules.shared import function_mark, only_low

NAME = "after_run"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}


def marks(case: Case) -> Iterator[Mark]:
    for story in case.stories():
        for f in case.asked(story):
            mine = f.wanted == "on" and f.after_run
            if mine and not (case.corner == "cold" and only_low(f)):  # that is the rule voltage_drop
                yield function_mark(NAME, f)
