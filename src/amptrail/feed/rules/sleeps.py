"""Modules sleep when the healthy vehicle lets them sleep, and wake when it wakes them.

Danger: a controller kept awake empties the battery in days; one that is never woken leaves the vehicle dead.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "sleeps", ALWAYS
BAD = (
    Example("rear.sheet", "from BAT.+ to BCM.lt fuse 5 A wire 0.75 mm2 2 m cut W22", "W22 open"),
    Example("mainrelay.sheet", "from BAT.+ to ECM.15 fuse 5 A wire 0.75 mm2 1.5 m cut W5", "W5 open"),
)
GOOD = (
    Example("rear.sheet", "from SL.1 to WORK.in fuse 7.5 A wire 1 mm2 3 m cut W5, W6", "W5 open"),
    Example("mainrelay.sheet", "from F4.out to ECM.15 fuse 5 A wire 0.75 mm2 1 m cut W5", "W5 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    usual = set(case.healthy_asleep().state.modules_awake)
    for start in case.starts:
        x = case.asleep(start)
        awake = set(x.state.modules_awake)
        for module in case.network.modules:
            if module not in usual:
                yield state(NAME, start, x.phase_name, module, module in awake, False)
    if case.oracle or case.subject != "fed":
        return
    for start in case.starts:
        yield from _wakes(case, start)


def _wakes(case: Case, start: str) -> Iterator[Mark]:
    """A module that is awake in the healthy and in the faulty vehicle and that the feed leaves asleep."""
    trio = zip(
        case.story(start).instants,
        case.beside(start).instants,
        case.lives.get("faulty", start).instants,
        strict=True,
    )
    for x, healthy, faulty in trio:
        wanted = set(healthy.state.modules_awake) & set(faulty.state.modules_awake)
        for module in sorted(wanted - set(x.state.modules_awake)):
            yield state(NAME, start, x.phase_name, module, False, True)
