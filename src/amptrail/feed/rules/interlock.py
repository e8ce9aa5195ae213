"""A safety switch still stops what it must stop.

Danger: an engine that cranks in gear, a machine that starts with nobody in the seat.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import key
from amptrail.feed.case import Case
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "interlock", ALWAYS


def marks(case: Case) -> Iterator[Mark]:
    for i in case.circuit.interlocks:
        for start in case.starts:
            fed = case.asked(case.story(start, i.switch))
            healthy = case.asked(case.beside(start, i.switch))
            for f, h in zip(fed, healthy, strict=True):
                if f.wanted != "on" or key(f.must.name) != key(i.function) or f.instant.step.pass_no == 0:
                    continue
                if case.oracle or not h.ok:
                    yield state(NAME, start, f.instant.phase_name, f.must.name, f.ok, False, switch=i.switch)
