"""The instruments in the hands of who asks: told in the job or the readings, else brought from their other
jobs."""

from __future__ import annotations

from amptrail.jobs.base.joblog import opened
from amptrail.jobs.log.shop import own_lines
from amptrail.jobs.solved.own import Own, in_hand, said


def tools(readings_text: str, by: str) -> Own:
    """The instruments of a person (empty: of nobody in particular, only what the readings say)."""
    return in_hand(readings_text, brought(by))


def brought(by: str) -> Own:
    """What a person last said of their own instruments, in any job; looking for it makes no log."""
    from amptrail.store.where import exists, named

    if not by or not exists(named()):
        return Own((), by)
    with opened() as log:
        return Own(said("\n".join(own_lines(log, by))).told, by)
