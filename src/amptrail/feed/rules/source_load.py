"""The wires up to the source carry the old load and the new one.

Danger: a thin wire in the old loom overheats where nobody looks. Source: ampacity as in wire_rating.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import key
from amptrail.feed.case import Case
from amptrail.feed.graph import edges
from amptrail.feed.guard import air_c, carries_a
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.shape import area_mm2

NAME = "source_load"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
MORE, DUST_A = 1.02, 0.05


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
