"""The readings-file line a test asks for, with `{value}` where the answer goes."""

from __future__ import annotations

from amptrail.circuit.model import Circuit
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.panel import Candidate
from amptrail.sheet.words import free_text, name_text, term_text


def reading_line(circuit: Circuit, t: Candidate) -> str:
    """One line; a standing condition comes before it and is lifted after, all lines of one text."""
    phase = free_text(drive_cycle(circuit)[t.phase].name)
    if t.asks:
        return f"{name_text(t.asks)} in {phase} {{value}}"
    spot = t.spot
    to = f" to {term_text(spot.b)}" if spot.b else ""
    body = f"{term_text(spot.a)}{to} in {phase} {t.instrument} {{value}}"
    if t.conditions.out:
        names = ", ".join(f"{name_text(r)} out" for r in t.conditions.out)
        return f"with {names}\n{body}\nwithout conditions"
    return body
