"""The readings-file line a test asks for, with `{value}` where the answer goes."""

from __future__ import annotations

from amptrail.circuit.model import Circuit
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.solved.conditions import Conditions
from amptrail.sheet.words import free_text, name_text, term_text

OHMMETER, OFF = "ohmmeter", "off"


def condition_words(c: Conditions) -> list[str]:
    """Standing conditions as a readings file has them, a feed last (its own commas end there)."""
    told = [
        (c.unplugged, "unplugged"), (c.pulled, "pulled"), (c.out, "out"), (c.replaced, "replaced"),
        (c.on, "on"), (c.off, "off"),
    ]  # fmt: skip
    words = [f"{name_text(x)} {verb}" for names, verb in told for x in names]
    return words + ([f"feed {c.feed}"] if c.feed else [])


def phase_of(circuit: Circuit, t: Candidate) -> str:
    """The phase a test is done in: `off` for the ohmmeter."""
    return OFF if t.instrument == OHMMETER else drive_cycle(circuit)[t.phase].name


def _body(circuit: Circuit, t: Candidate) -> str:
    return _seen(circuit, t) + (" while failing" if t.failing else "")


def _seen(circuit: Circuit, t: Candidate) -> str:
    phase = free_text(phase_of(circuit, t))
    if t.said is None:
        to = f" to {term_text(t.spot.b)}" if t.spot.b and t.instrument != "fuse-drop" else ""
        at = name_text(t.spot.a.part) if t.instrument == "fuse-drop" else term_text(t.spot.a)
        return f"{at}{to} in {phase} {t.instrument} {{value}}"
    name = name_text(t.said.part or "")
    if t.said.kind == "looks":
        return f"{name} in off looks {{value}}"
    if t.said.kind == "moved":
        return f"{name_text(t.spot.name)} in {phase} {{value}} when {name} moved"
    if t.said.kind == "lit":
        return f"{name} in {phase} is {{value}}"
    if t.said.kind == "clicks":
        return f"{name} in {phase} sounds {{value}}"
    return f"{name} in {phase} {{value}}"


def reading_line(circuit: Circuit, t: Candidate) -> str:
    """One line; a standing condition comes before it and is lifted after, all lines of one text."""
    words = condition_words(t.conditions)
    body = _body(circuit, t)
    return f"with {', '.join(words)}\n{body}\nwithout conditions" if words else body
