"""Figures of one part that cannot both be: a relay that lets go above where it pulls, an input the same, a
switch with positions that makes no contact."""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Input, key
from amptrail.circuit.places import part_problem
from amptrail.errors import Problem


def crossed(c: Circuit) -> Iterator[Problem]:
    """Every such figure, as a warning at its part."""
    for p in c.parts:
        if p.kind in ("relay", "starter"):
            pulls, drops = tables.number(p, "pull_v"), tables.number(p, "drop_v")
            if drops > pulls:
                said = f"{p.name} lets go below {drops:g} V and pulls from {pulls:g} V: between, it buzzes"
                fix = "say the volts at which it pulls, and fewer at which it drops"
                yield part_problem(c, p.name, "drops-above-pulls", said, fix, "warning")
        if p.kind == "switch" and tables.value(p, "positions") and not p.contacts:
            said = f"switch {p.name} has positions and makes no contact in any"
            yield part_problem(c, p.name, "no-contact", said, f"add: {p.name}.in-out closed at on", "warning")
    known = {key(p.name): p.name for p in c.parts}
    for x in c.modules:
        if isinstance(x, Input) and x.on_v is not None and x.off_v is not None and _crossed(x):
            said = (
                f"input {x.name} of {x.module} is on at {x.on_v:g} V and off at {x.off_v:g} V: it never rests"
            )
            fix = "an input is off below where it is on; one that is active low is off above"
            yield part_problem(c, known.get(key(x.module), x.module), "off-above-on", said, fix, "warning")


def _crossed(x: Input) -> bool:
    on, off = x.on_v or 0.0, x.off_v or 0.0
    return off < on if x.active_low else off > on
