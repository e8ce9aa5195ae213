"""Nothing is on before first use that sleeps in the healthy vehicle.

Danger: a relay, output or module that the feed itself switches on, day and night.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.measures import active

NAME, SEVERITY = "permanently_on", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    x = case.before_use()
    for word in sorted(active(x) - active(case.healthy_before_use())):
        yield state(NAME, "asleep", x.phase_name, word, True, False)
