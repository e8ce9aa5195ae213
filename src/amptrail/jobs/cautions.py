"""The usual cautions, at the point of use."""

from __future__ import annotations

from amptrail.circuit.model import Circuit
from amptrail.circuit.phases import drive_cycle
from amptrail.instruments import by_name, cautions
from amptrail.jobs.panel import Candidate


def cautions_for(circuit: Circuit, t: Candidate, disturbs: tuple[str, ...]) -> list[str]:
    """What to mind with this test: the point, the phase, the instrument, and what the test switches."""
    phase = drive_cycle(circuit)[t.phase].name
    told = [c.text for c in cautions(circuit, t.spot.a, by_name(t.instrument), phase, t.how)]
    return told + [f"this test switches {d}: stand clear of what it starts" for d in disturbs]
