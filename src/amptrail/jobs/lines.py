"""The readings-file line a test asks for, with `{value}` where the answer goes."""

from __future__ import annotations

from amptrail.circuit.model import Circuit, Term
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.panel import Candidate


def quoted(name: str) -> str:
    """A name as the notation wants it: back-quotes round anything that is not a plain word."""
    head = name[:1].isalpha() and all(ch.isalnum() or ch in "_.-+" for ch in name)
    return name if head else f"`{name}`"


def _term(term: Term) -> str:
    return f"{quoted(term.part)}.{term.name}" if term.part and term.name else quoted(term.part or term.name)


def reading_line(circuit: Circuit, t: Candidate) -> str:
    """One line; a standing condition comes before it and is lifted after, all lines of one text."""
    phase = quoted(drive_cycle(circuit)[t.phase].name)
    if t.asks:
        return f"{quoted(t.asks)} in {phase} {{value}}"
    spot = t.spot
    to = f" to {_term(spot.b)}" if spot.b else ""
    body = f"{_term(spot.a)}{to} in {phase} {t.instrument} {{value}}"
    if t.conditions.out:
        names = ", ".join(f"{quoted(r)} out" for r in t.conditions.out)
        return f"with {names}\n{body}\nwithout conditions"
    return body
