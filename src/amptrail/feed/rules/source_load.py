"""The source carries the old load and the new one: its wires, its fuse, a module's 5 V supply.

Danger: a thin wire in the old loom overheats where nobody looks. Source: ampacity as in wire_rating.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import Reference, key
from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant
from amptrail.feed.example import Example
from amptrail.feed.graph import edges
from amptrail.feed.guard import air_c, carries_a
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.measures import fuse_a, ratings
from amptrail.feed.shape import area_mm2

NAME = "source_load"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example("supplies.sheet", "from S5.1 to MIL.in fuse 1 A wire 0.5 mm2 1 m cut W9", "W9 open"),
    Example("start.sheet", "from F_IGN.out to KS.86 fuse 5 A wire 0.75 mm2 1 m cut W8", "W8 open"),
)
GOOD = (Example("pump.sheet", "from F4.out to K4.86 fuse 5 A wire 0.75 mm2 1 m cut W13", "W13 open"),)
MORE, DUST_A = 1.02, 0.05
LIMITED = 0.999  # of the limit: it limits


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    f = case.fitted
    parts = {key(p.name): p for p in f.sheet.parts if p.kind == "wire" and p.said("area_mm2") is not None}
    wires = [(e, parts[key(e.part)]) for e in edges(f.network) if key(e.part) in parts]
    for story in case.stories():
        for x, h in zip(story.instants, case.beside(story.start).instants, strict=True):
            if case.network.phases[x.phase].base == "cranking":
                continue
            for e, p in wires:
                amps, usual = abs(float(x.amps[e.branch])), abs(float(h.amps[e.branch]))
                area = area_mm2(p)
                if area is not None and amps > MORE * usual + DUST_A:
                    limit = carries_a(area, air_c(f, e.a, e.b))
                    yield most(NAME, story.start, x.phase_name, p.name, amps, limit, "A")
            yield from _protectors(case, x, h)
            yield from _references(case, x, h)


def _protectors(case: Case, x: Instant, h: Instant) -> Iterator[Mark]:
    """Fuses of the sheet that the feed loads more: at most their rating, however short."""
    rating, usual = ratings(case.network), fuse_a(h)
    own = {p.name for p in case.fitted.feed.parts}
    for name, amps in fuse_a(x).items():
        if name not in own and amps > MORE * usual[name] + DUST_A:
            yield most(NAME, x.story.start, x.phase_name, name, amps, rating[name], "A")


def _references(case: Case, x: Instant, h: Instant) -> Iterator[Mark]:
    """A module's 5 V supply: below the current it limits itself to, where its volts collapse."""
    net = case.network
    for line in net.circuit.modules:
        if isinstance(line, Reference):
            branch = net.branch(f"{line.module}.{line.pin}")
            amps, usual = float(x.amps[branch]), float(h.amps[branch])
            if amps > MORE * usual + 1e-6:
                part = f"{line.module}.{line.name}"
                yield most(NAME, x.story.start, x.phase_name, part, amps, LIMITED * line.limit_a, "A")
