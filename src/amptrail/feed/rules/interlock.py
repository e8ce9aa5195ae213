"""What a safety switch, any other switch or a module output must stop, it still stops.

Danger: an engine that cranks in gear, a machine that starts with nobody in the seat, a fan that starts
under somebody's hands, a pump that no longer stops with the engine. Interlocks of the sheet are refused
for any purpose; another switch or output that lost its say is noted for a try.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.circuit.model import key
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.functions import Finding
from amptrail.feed.marks import ALWAYS, Mark, state

NAME, SEVERITY = "interlock", ALWAYS
BAD = (
    Example("start.sheet", "from F_50.out to NEUTRAL.in fuse 5 A wire 0.75 mm2 1 m cut W7", "W7 open"),
    Example("start.sheet", "from CLUTCH.out to KS.86 fuse 5 A wire 0.75 mm2 1 m cut W8", "W8 open"),
)
GOOD = (Example("start.sheet", "from NEUTRAL.out to KS.86 fuse 5 A wire 0.75 mm2 1 m cut W8", "W8 open"),)


def _sheet(case: Case) -> Iterator[Mark]:
    starts = case.starts if case.oracle else ("asleep", *case.awake)
    for i in case.circuit.interlocks:
        for start in starts:
            fed = case.asked(case.story(start, i.switch))
            healthy = case.asked(case.beside(start, i.switch))
            for f, h in zip(fed, healthy, strict=True):
                if f.wanted != "on" or key(f.must.name) != key(i.function) or f.instant.step.pass_no == 0:
                    continue
                if case.oracle or not h.ok:
                    yield state(NAME, start, f.instant.phase_name, f.must.name, f.ok, False, held=i.switch)


def _dead(healthy: Finding) -> bool:
    """Whether the switch or output keeps the healthy load dead: one that then runs slower is not stopped."""
    most = healthy.must.max_off_v
    return not healthy.ok and (most is None or abs(healthy.value) <= most)


def _others(case: Case) -> Iterator[Mark]:
    """From asleep, with one switch or output at a time that cannot close."""
    named = {(key(i.switch), key(i.function)) for i in case.circuit.interlocks}
    usual = case.asked(case.beside("asleep"))
    for held in case.lives.held("asleep"):
        fed, healthy = case.asked(case.story("asleep", held)), case.asked(case.beside("asleep", held))
        for f, h, u in zip(fed, healthy, usual, strict=True):
            if f.wanted != "on" or f.must.module or (key(held), key(f.must.name)) in named:
                continue
            if u.ok and _dead(h):
                m = state(NAME, "asleep", f.instant.phase_name, f.must.name, f.ok, False, held=held)
                yield replace(m, severity="note") if case.purpose == "try" else m


def marks(case: Case) -> Iterator[Mark]:
    yield from _sheet(case)
    if not case.oracle:
        yield from _others(case)
