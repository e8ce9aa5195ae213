"""The old path is isolated at both ends, unless it is proven clean.

Danger: the fault that is bridged is still there: a chafed wire shorts the new feed, water spreads. A path
that is open or merely resistive is clean as far as the sheet knows, and is noted; one that leaks or is
shorted must be cut.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from amptrail.circuit.model import Fault, Term
from amptrail.errors import ModelError
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.graph import RUN, reach
from amptrail.feed.marks import Mark, Severities, state
from amptrail.feed.shape import Chain, chains, feed_edges, opened

NAME = "old_path"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example(
        "pump.sheet", "from K4.87 to PUMP.in wire 1.5 mm2 4 m cut W9", "W9 open and X7.4.a to ground 10 ohm"
    ),
    Example(
        "rear.sheet",
        "from SL.1 to WORK.in fuse 10 A wire 1.5 mm2 3 m cut W5",
        "W5 open and X5.1.a to ground 10 ohm",
    ),
)
GOOD = (
    Example(
        "pump.sheet",
        "from K4.87 to PUMP.in wire 1.5 mm2 4 m cut W9, W10",
        "W9 open and X7.4.a to ground 10 ohm",
    ),
    Example(
        "rear.sheet",
        "from SL.1 to WORK.in fuse 10 A wire 1.5 mm2 3 m cut W5, W6",
        "W5 open and X5.1.a to ground 10 ohm",
    ),
)
LEAKS = ("to_ground", "to_supply", "to_point", "swapped")
DIRTY = ("open", "resistance")


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    for fault in case.fitted.against:
        for c in chains(case.fitted):
            if c.control:
                continue
            if fault.mode in LEAKS:
                yield state(NAME, "any", "any", _name(fault), _joined(case, fault.at, c), False)
            elif fault.mode in DIRTY and fault.at.part and not _cut(case, fault):
                m = state(NAME, "any", "any", _name(fault), True, False)
                yield replace(m, severity="note")


def _name(fault: Fault) -> str:
    return str(fault.at) if fault.at.name else fault.at.part


def _cut(case: Case, fault: Fault) -> bool:
    f = case.fitted
    branch = f.network.branch_of.get(_name(fault).lower().replace("-", "_"))
    cuts = {f.network.branch_of.get(c.lower().replace("-", "_")) for c in f.feed.cuts}
    return bool(f.feed.cuts) and (branch in cuts or bool(cuts))


def _joined(case: Case, at: Term, c: Chain) -> bool:
    """Whether the leaking metal is still joined to the feed by copper."""
    f = case.fitted
    try:
        node = f.network.node(at if at.name else Term(at.part, "in"))
    except ModelError:
        return True
    return node in reach(f.network, [c.end], RUN, {e.branch for e in feed_edges(f)} | opened(f))
