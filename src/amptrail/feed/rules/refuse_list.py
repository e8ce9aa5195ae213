"""Never energise what can kill or strand: restraint, high voltage, brakes, steering, immobiliser, fuel and
gas shut-off (`refuse` lines of the sheet), not even for a try.

Danger: a fired airbag, a live orange cable, a vehicle that does not stop. A wire laid end to end beside
the old one, with the same source, fuse and size, is a repair: allowed with a note.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.circuit.model import Refuse
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.graph import RUN, nodes_of, reach
from amptrail.feed.marks import ALWAYS, Mark, state
from amptrail.feed.shape import chains, feed_edges, grounded_in_sheet, is_overlay, kind, opened

NAME, SEVERITY = "refuse_list", ALWAYS
BAD = (
    Example("supplies.sheet", "from F4.out to SRS.15 fuse 10 A wire 0.75 mm2 1 m cut W11", "W11 open", "try"),
    Example("supplies.sheet", "from BAT.+ to ABS.30 fuse 10 A wire 1 mm2 2 m cut W13", "W13 open", "home"),
    Example("supplies.sheet", "from F4.out to GASV.in fuse 5 A wire 0.75 mm2 2 m cut W6", "W6 open"),
    Example("supplies.sheet", "from F_ABS.out to ABS.30 wire 0.5 mm2 2 m cut W13", "W13 open"),
)
GOOD = (Example("supplies.sheet", "from F_ABS.out to ABS.30 wire 0.75 mm2 2 m cut W13", "W13 open"),)
UNTOUCHED = ("restraint", "high-voltage", "brakes", "steering")  # nor may their supply be tapped


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    f = case.fitted
    repair = kind(f) == "overlay"
    for line in f.sheet.refuses:
        run = _run(case, line)
        for c in chains(f):
            tapped = line.refuse_class in UNTOUCHED and c.source in run and c.end not in run
            hit = c.end in run or tapped
            m = state(NAME, "any", "any", line.part, hit, False, refuse_class=line.refuse_class)
            yield replace(m, severity="note") if repair and is_overlay(f, c) else m


def _run(case: Case, line: Refuse) -> frozenset[int]:
    """The part's own metals and the copper that leads to them, up to the first fuse; ground left out."""
    f = case.fitted
    without = {e.branch for e in feed_edges(f)} | opened(f)
    start = [n for n in nodes_of(f.network, line.part) if n not in grounded_in_sheet(f)]
    return frozenset(reach(f.network, start, RUN, without)) - grounded_in_sheet(f)
