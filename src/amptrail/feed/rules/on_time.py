"""A load that is timed keeps its time: glow plugs, priming pumps, lights that go out by themselves.

Danger: a glow plug burnt through, an engine that starts badly because the pump no longer primes. Looked
at half-way between the times of the sheet's timers, where the ends of the phases say nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.circuit.model import Must
from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant, Story
from amptrail.feed.example import Example
from amptrail.feed.functions import volts_at
from amptrail.feed.loads import may_run_longer
from amptrail.feed.marks import ALWAYS, Mark, least, most

NAME, SEVERITY = "on_time", ALWAYS
BAD = (
    Example("pump.sheet", "from F6.out to K4.86 fuse 5 A wire 0.75 mm2 1 m cut W13", "W13 open"),
    Example("glow.sheet", "from KG.85 to GCU.wait wire 0.75 mm2 1 m cut W7", "GCU.glow dead"),
)
GOOD = (
    Example("pump.sheet", "from F4.out to K4.86 fuse 5 A wire 0.75 mm2 1 m cut W13", "W13 open"),
    Example("glow.sheet", "from F4.out to KG.86 fuse 5 A wire 0.75 mm2 1 m cut W6", "W6 open"),
)


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding or case.extra is None:
        return
    fed, healthy = case.extra.halves
    for must in case.circuit.musts:
        if must.a is None or must.min_v is None or not _works(case, must):
            continue
        off = must.max_off_v if must.max_off_v is not None else must.min_v / 4
        for x, h in _half_way(fed, healthy, must, off):
            now, usual = volts_at(x, must), volts_at(h, must)
            if usual >= must.min_v:
                yield least(NAME, "asleep", x.phase_name, must.name, now, must.min_v, "V")
            elif usual <= off:
                m = most(NAME, "asleep", x.phase_name, must.name, now, off, "V")
                yield replace(m, severity="note") if may_run_longer(case.network, must) else m


def _works(case: Case, must: Must) -> bool:
    """Whether the feed brings the function back at all; if not, that is another rule's business."""
    return any(f.ok for f in case.asked(case.story("asleep")) if f.must == must and f.wanted == "on")


def _half_way(fed: Story, healthy: Story, must: Must, off: float) -> Iterator[tuple[Instant, Instant]]:
    """Instants inside the phases of the cycle, with the healthy ones, where both agree at the phase's end."""
    for x, h in zip(fed.instants, healthy.instants, strict=True):
        last = x.at
        while last + 1 < len(fed.steps) and fed.steps[last + 1].phase == x.phase:
            last += 1
        if last == x.at or x.step.pass_no == 0:
            continue
        ends = [volts_at(s.instants[last], must) for s in (fed, healthy)]
        if len({(v >= (must.min_v or 0.0), v <= off) for v in ends}) == 1:
            yield x, h
