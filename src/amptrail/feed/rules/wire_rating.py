"""The fuse protects the thinnest wire behind it, and no wire of the feed carries more than it can.

Danger: the wire is the fuse. Sources: largest fuse of a wire (reference wire_fuse, trade practice),
ampacity 33 CFR 183.425 Table 5 by area and air (reference.wire); fuses that feed in parallel count
together.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import Part, key
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.extra import largest
from amptrail.feed.graph import RUN, at, reach
from amptrail.feed.guard import Guard, air_c, carries_a, guard, largest_a, upstream
from amptrail.feed.loads import LOAD_KINDS
from amptrail.feed.marks import ALWAYS, Mark, most
from amptrail.feed.shape import Chain, area_mm2, chains, feed_edges, grounded_in_sheet, is_overlay, opened

NAME, SEVERITY = "wire_rating", ALWAYS
BAD = (
    Example("fan.sheet", "from FAN.out to body wire 1 mm2 1 m cut W11", "W11 open"),
    Example("mainrelay.sheet", "from F4.out to ECM.15 fuse 7.5 A wire 0.35 mm2 1 m cut W5", "W5 open"),
)
GOOD = (
    Example("fan.sheet", "from FAN.out to body wire 1.5 mm2 1 m cut W11", "W11 open"),
    Example("mainrelay.sheet", "from F4.out to ECM.15 fuse 5 A wire 0.75 mm2 1 m cut W5", "W5 open"),
)
DUST_A = 1e-9


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    for n, c in enumerate(chains(case.fitted)):
        if is_overlay(case.fitted, c):
            continue  # as the wire it stands in for
        yield from _own(case, c)
        if not c.control and c.end not in grounded_in_sheet(case.fitted):
            yield from _behind(case, c, n)


def _own(case: Case, c: Chain) -> Iterator[Mark]:
    f = case.fitted
    air, protects = air_c(f, c.source, c.end), guard(f, c) or _through_loads(case, c)
    for e, p in zip(c.links, c.parts, strict=True):
        area = area_mm2(p) if p.kind == "wire" else None
        if area is None:
            continue
        if protects is not None:
            yield most(
                NAME,
                "any",
                "any",
                p.name,
                protects.rating_a,
                largest_a(area, air),
                "A",
                fuse=protects.part.name,
            )
        for story in case.stories():
            steady = _steady(case)
            amps, x = largest(story, e.branch, steady) if steady else (0.0, story.instants[0])
            yield most(NAME, story.start, x.phase_name, p.name, amps, max(carries_a(area, air), DUST_A), "A")


def _through_loads(case: Case, c: Chain) -> Guard | None:
    """What a new ground carries when a load on it is shorted: all that the load's own fuse allows."""
    f = case.fitted
    if c.end not in grounded_in_sheet(f):
        return None
    off = {e.branch for e in feed_edges(f)} | opened(f)
    found: list[Guard] = []
    for node in reach(f.network, [c.source], RUN, off):
        for e in at(f.network, node):
            if e.kind in LOAD_KINDS and (g := upstream(f, e.other(node))) is not None:
                found.append(g)
    return max(found, key=lambda g: g.rating_a, default=None)


def _steady(case: Case) -> frozenset[int]:
    """Phases a current may last in: all but cranking (see adiabatic_ground)."""
    return frozenset(n for n, p in enumerate(case.network.phases) if p.base != "cranking")


def _behind(case: Case, c: Chain, n: int) -> Iterator[Mark]:
    """The sheet's wires behind the end of the feed: the feed's fuse, with the old one beside it where the old
    way still conducts, against what each wire allows or had before."""
    f = case.fitted
    protects, before, now = guard(f, c), upstream(f, c.end, broken=True), upstream(f, c.end)
    if protects is None:
        return
    total, first = protects.rating_a, upstream(f, c.source)
    if now and _second(case, n, now, protects):
        # one fuse before both ways limits them together
        one = first is not None and key(first.part.name) == key(now.part.name)
        total = max(total, now.rating_a) if one else total + now.rating_a
    without = {e.branch for e in feed_edges(f)} | opened(f)
    found = reach(f.network, [c.end], RUN, without)
    parts = {key(p.name): p for p in f.sheet.parts}
    for e in found.values():
        if e is None or e.kind != "wire":
            continue
        wire: Part = parts[key(e.part)]
        area = area_mm2(wire)
        if area is None or wire.said("area_mm2") is None:
            continue
        allowed = max(largest_a(area, air_c(f, e.a, e.b)), before.rating_a if before else 0.0)
        yield most(NAME, "any", "any", wire.name, total, allowed, "A", fuse=protects.part.name)


def _second(case: Case, n: int, now: Guard, protects: Guard) -> bool:
    """Whether another fuse feeds the same metal beside the feed: both carry more than their rating into a
    dead short there."""
    if case.extra is None or n not in case.extra.shorts or key(now.part.name) == key(protects.part.name):
        return False
    one, two = (case.network.branch(g.part.name) for g in (now, protects))
    told = [x.amps for x in case.extra.shorts[n].instants]
    return any(abs(a[one]) > now.rating_a and abs(a[two]) > protects.rating_a for a in told)
