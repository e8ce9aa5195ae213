"""The coil of an added relay is quenched where electronics switch it or live on the same wire.

Danger: up to 1,500 V when the coil is let go (FACTS section 3), into a module's pin. An unquenched coil on an
electronic output is refused; on a switched rail that modules share it is noted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.circuit import tables
from amptrail.circuit.model import Driver, key
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.graph import RUN, reach
from amptrail.feed.marks import Mark, Severities, state
from amptrail.feed.shape import chains, feed_edges, grounded_in_sheet

NAME = "suppression"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example("fan.sheet", "AJ10", "KF stuck off"),
    Example("fan.sheet", "AJ15", "W21 open"),
)
GOOD = (Example("fan.sheet", "AJ9", "KF stuck off"),)


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    f = case.fitted
    own = {e.branch for e in feed_edges(f)}
    index = case.network.node_index
    lines = [x for x in f.sheet.modules if hasattr(x, "pin")]
    for c in chains(f):
        if not c.control:
            continue
        relay = next(p for p in c.parts if p.kind == "relay")
        bare = tables.value(relay, "suppressed") in (None, "none", False)
        near = set(reach(f.network, [c.source, c.end], RUN, own)) - grounded_in_sheet(f)
        pins = [x for x in lines if index.get((key(x.module), key(x.pin))) in near]
        driven = any(isinstance(x, Driver) for x in pins)
        m = state(NAME, "any", "any", relay.name, bare and bool(pins), False)
        yield m if driven else replace(m, severity="note")
