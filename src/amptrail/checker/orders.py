"""Does a verdict hang on what switches first? Every start in both orders, `settle` and `time`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache

from amptrail.checker.vehicle import Job
from amptrail.circuit.model import Circuit, Fault
from amptrail.errors import ModelError
from amptrail.twin import Instant, walk, walk_timed

Walk = Callable[..., Iterator[Instant]]
Item = tuple[str, str, str]  # phase, word of the state, name


def _ends(way: Walk, c: Circuit, faults: Iterable[Fault], start: str, healthy: Circuit) -> list[Instant]:
    every = way(c, faults, start=start, cycles=1, healthy=healthy)
    return [x for x in every if x.event == "end"]


def _differ(c: Circuit, faults: tuple[Fault, ...], start: str, healthy: Circuit) -> set[Item]:
    """State items that end a phase differently in the two orders. What buzzes in `settle` is a matter of its
    own rule; what never comes to rest in `time` differs."""
    settled = _ends(walk, c, faults, start, healthy)
    if any(x.status == "chatter" for x in settled):
        return set()
    try:
        timed = _ends(walk_timed, c, faults, start, healthy)
    except ModelError:
        return {("", "never at rest", "")}
    found = set()
    for a, b in zip(settled[-len(timed) :], timed[-len(settled) :], strict=True):
        for word, names in a.words.items():
            found |= {(a.phase.name, word, n) for n in set(names) ^ set(b.words[word])}
    return found


@lru_cache(maxsize=8)
def decided_by_order(job: Job, starts: tuple[str, ...]) -> tuple[str, str, str] | None:
    """(start, phase, part) where the order of switching decides with the feed and not in the healthy
    vehicle; None when nowhere."""
    for start in starts:
        mine = _differ(job.fed, (*job.faults, *job.cuts), start, job.sheet)
        if mine:
            for phase, _, name in sorted(mine - _differ(job.sheet, (), start, job.sheet)):
                return start, phase, name
    return None
