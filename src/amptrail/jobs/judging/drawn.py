"""When the drawing may be wrong: only two faults at once explain the readings, or two that read just as one
end of a path drawn at the wrong place does (a joint open beside a bridge)."""

from __future__ import annotations

from collections.abc import Sequence

from amptrail.circuit.model import Circuit
from amptrail.faults import Hypothesis as Cause
from amptrail.faults import changes
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.solved.session import session
from amptrail.solve.changes import Change, Kind

JOINED_OHM = 1.0  # a bridge of more is no joint (common practice)
MOSTLY = 0.5  # belief in two faults at once from which nothing else leads
TWO = (
    "No single cause gives all that was read. Two at once would, or the drawing is not of this vehicle: "
    "before anything is opened, compare a wire colour and a cavity of what leads here with the drawing."
)


def needs_two(j: Judgement) -> bool:
    """Whether two faults at once are mostly believed, because no single one explains the readings. What a
    drawing that is wrong makes read, two faults explain as well, so it is worth a look first."""
    both = sum(float(p) for p, s in zip(j.post.probability, j.suspects, strict=True) if len(s.causes) > 1)
    return both > MOSTLY


def drawn_elsewhere(circuit: Circuit, causes: Sequence[Cause], bridge_ohm: float | None) -> str | None:
    """What the drawing would have wrong if an open joint and a bridge from one of its sides to a third place
    were neither: every reading is the same. None where two causes are no such pair."""
    faults = [f for c in causes for f in c.faults]
    if len(causes) != 2 or len(faults) != 2 or (bridge_ohm or 0.0) > JOINED_OHM:
        return None
    net = session(circuit).network
    made = [x for f in faults for x in changes(net, f, bridge_ohm)]
    opened = [x for x in made if x.kind == Kind.OPEN]
    bridged = [x for x in made if x.kind == Kind.BRIDGE]
    if len(made) != 2 or len(opened) != 1 or len(bridged) != 1:
        return None
    ends = _ends(opened[0], net.base.na, net.base.nb)
    bridge = [int(x) for x in (bridged[0].target, bridged[0].other) if isinstance(x, int)]
    shared = set(ends) & set(bridge)
    if len(shared) != 1 or len(bridge) != 2:
        return None
    (side,) = shared
    (far,), (place,) = [n for n in ends if n != side], [n for n in bridge if n != side]
    here, there, not_there = (net.node_name(n) for n in (side, place, far))
    return f"reads as if {here} were joined to {there} and not to {not_there}: the drawing may be wrong there"


def _ends(opened: Change, na: Sequence[int], nb: Sequence[int]) -> tuple[int, int]:
    branch = opened.target
    if not isinstance(branch, int):
        raise AssertionError("faults name branches by number")
    return int(na[branch]), int(nb[branch])
