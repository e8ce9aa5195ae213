"""The usual cautions, at the point of use."""

from __future__ import annotations

from amptrail.circuit.model import Circuit, Term
from amptrail.circuit.phases import drive_cycle
from amptrail.instruments import by_name, cautions
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.solved.feeds import find_feed


def _ends(circuit: Circuit, feed: str | None) -> list[Term]:
    """The points of the sheet that a bypass is clipped to."""
    if feed is None:
        return []
    hops = [h for path in find_feed(circuit, feed).paths for h in (path.hops[0], path.hops[-1])]
    return [Term(h.part, h.a) for h in hops]


def cautions_for(circuit: Circuit, t: Candidate, disturbs: tuple[str, ...]) -> list[str]:
    """What to mind with this test: the point, what is moved by hand, where a bypass is clipped on, the
    phase, the instrument, and what the test switches."""
    phase = drive_cycle(circuit)[t.phase].name
    tool = by_name(t.instrument)
    hand = [Term(t.said.part or "", "")] if t.said is not None and t.said.kind == "moved" else []
    points = [t.spot.a, *hand, *_ends(circuit, t.conditions.feed)]
    told = list(dict.fromkeys(c.text for at in points for c in cautions(circuit, at, tool, phase, t.how)))
    return told + [f"this test switches {d}: stand clear of what it starts" for d in disturbs]
