"""A dead short at the far end opens the fuse within 5 s: it draws at least twice the rating.

Danger: a long thin lead limits its own short below what opens the fuse; it glows instead. Source: ISO 8820-3
gate 200 %, 0.15 to 5 s (reference.fuse); 12.0 V, wire at 85 C.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant, Story
from amptrail.feed.example import Example
from amptrail.feed.extra import largest
from amptrail.feed.guard import Guard, air_c, carries_a, guard
from amptrail.feed.marks import ALWAYS, Mark, least
from amptrail.feed.shape import Chain, area_mm2, chains, is_overlay

NAME, SEVERITY = "dead_short_not_cleared", ALWAYS
BAD = (
    Example("rear.sheet", "from SL.1 to WORK.in fuse 30 A wire 2.5 mm2 45 m cut W5, W6", "W5 open"),
    Example("rear.sheet", "from SL.1 to WORK.in fuse 20 A wire 1.5 mm2 42 m cut W5, W6", "W5 open"),
)
GOOD = (Example("rear.sheet", "from SL.1 to WORK.in fuse 7.5 A wire 1 mm2 3 m cut W5, W6", "W5 open"),)
TIMES = 2.0
NOTHING_A, LITTLE_A, DEAD_V = 0.1, 1.0, 1.0
LIVE_V = 6.0  # the chain carries a supply in a phase where its end has this much


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding or case.extra is None:
        return
    every = chains(case.fitted)
    for n, story in case.extra.shorts.items():
        protects = guard(case.fitted, every[n])
        if protects is not None and not is_overlay(case.fitted, every[n]):  # as the wire it stands in for
            yield from _chain(case, every[n], story, protects)


def _chain(case: Case, c: Chain, story: Story, protects: Guard) -> Iterator[Mark]:
    """The worst of the phases in which the chain is live, cranking left out; an electronic output that
    switches itself off has cleared the short too."""
    net = case.network
    branch = net.branch(protects.part.name)
    live = frozenset(
        x.phase
        for x in case.story("asleep").instants
        if abs(float(x.volts[c.end])) > LIVE_V and net.phases[x.phase].base != "cranking"
    )
    found: list[Mark] = []
    for phase in sorted(live):
        amps, x = largest(story, branch, frozenset([phase]))
        if not x.state.drivers_tripped and not _gone(case, c, x, protects):
            found.append(
                least(NAME, "asleep", x.phase_name, protects.part.name, amps, TIMES * protects.rating_a, "A")
            )
    if found:
        yield min(found, key=lambda m: m.figure)


def _gone(case: Case, c: Chain, x: Instant, protects: Guard) -> bool:
    """Whether nothing dangerous is left: the source died or its relay let go, or a resistor of the feed or a
    polymer fuse limits the current to what its wire carries for ever."""
    amps = min(abs(float(x.amps[e.branch])) for e in c.links)
    if amps < NOTHING_A or (amps < LITTLE_A and abs(float(x.volts[c.source])) < DEAD_V):
        return True
    areas = [a for p in c.wires if (a := area_mm2(p)) is not None]
    limits = (*c.parts, protects.part)
    limited = any(p.kind in ("resistor", "lamp", "heater", "polyfuse") for p in limits)
    return limited and bool(areas) and amps <= carries_a(min(areas), air_c(case.fitted, c.source, c.end))
