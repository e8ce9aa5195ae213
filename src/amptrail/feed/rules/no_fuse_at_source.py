"""A feed taken from metal that no fuse protects has its own fuse within 0.2 m.

Danger: a chafed lead straight from the battery burns until the battery is empty. Source of the 0.2 m: DESIGN
section 9 (common practice; ABYC E-11 allows 7 inches).
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.guard import unfused
from amptrail.feed.marks import ALWAYS, Mark, most
from amptrail.feed.shape import MOST_FUSED_LATE_M, chains, is_overlay, point_name

NAME, SEVERITY = "no_fuse_at_source", ALWAYS
BAD = (
    Example("pump.sheet", "from BAT.+ to K4.30 wire 2.5 mm2 2 m cut W8", "W8 open"),
    Example("pump.sheet", "PJ9", "W8 open"),
)
GOOD = (Example("pump.sheet", "PJ10", "W8 open"),)
BARE_M = 0.5  # a lead whose length nobody stated is longer than the limit (common practice)


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    f = case.fitted
    hot = unfused(f)
    for c in chains(f):
        if c.source not in hot or (is_overlay(f, c) and not c.fuses):  # as the wire it stands in for
            continue
        metres = c.unfused_m() if c.fuses else max(c.unfused_m(), BARE_M)
        point = point_name(f.network, f, c.source)
        yield most(NAME, "any", "any", point, metres, MOST_FUSED_LATE_M, "m")
