"""A new ground survives the starter's return, as it is and with any body or engine strap lost.

Danger: a thin ground wire glows while the engine is cranked through it. Source: IEC 60364-4-43, k = 115
(reference.wire), for as long as the sheet cranks.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.extra import ground_chains
from amptrail.feed.guard import wire_of
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.shape import area_mm2, is_overlay

NAME = "adiabatic_ground"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example("start.sheet", "from STA.31 to body wire 2.5 mm2 0.5 m cut W13", "STRAP_E open"),
    Example("start.sheet", "from STA.31 to BAT.- wire 1.5 mm2 1 m cut W13", "STRAP_E open"),
)
GOOD = (Example("start.sheet", "from STA.31 to body wire 25 mm2 0.4 m cut W13", "STRAP_E open"),)


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding or case.extra is None:
        return
    for c in ground_chains(case.fitted):
        # beside a wire it is no worse than that wire when a strap is lost
        lost = {} if is_overlay(case.fitted, c) else case.extra.lost
        for e, p in zip(c.links, c.parts, strict=True):
            area = area_mm2(p) if p.kind == "wire" else None
            if area is None:
                continue
            every = {"": case.story("asleep"), **lost}
            for strap, story in every.items():
                for x in story.instants:
                    if case.network.phases[x.phase].base == "cranking":
                        heat = float(x.amps[e.branch]) ** 2 * x.step.seconds
                        limit = wire_of(area).adiabatic_a2s
                        yield most(NAME, "asleep", x.phase_name, p.name, heat, limit, "A2s",
                                   **({"lost": strap} if strap else {}))  # fmt: skip
