"""A plug that was parted for a reading: the water in it may sit in either half.

While the halves are together it makes no difference on which side of the cavities a leak lies, and one
explanation stands for both. A plug that was parted tells them apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from amptrail.circuit.model import Circuit, Fault, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.jobs.evidence.predict import Evidence, Suspect, single

SIDE, OTHER_SIDE = ".a", ".b"


def in_both_halves(circuit: Circuit, base: tuple[Suspect, ...], seen: Evidence) -> tuple[Suspect, ...]:
    """`base` with each leak inside a plug that was parted halved: on the one side, and on the other."""
    parted = {key(x) for o in seen.all for x in o.conditions.unplugged}
    if not parted:
        return base
    found: list[Suspect] = []
    for s in base:
        found += _halves(circuit, s) if _inside(s, parted) else [s]
    return tuple(found)


def _inside(s: Suspect, parted: set[str]) -> bool:
    faults = [f for c in s.causes for f in c.faults]
    return bool(faults) and all(_leak(f) and key(f.at.part) in parted for f in faults)


def _leak(f: Fault) -> bool:
    ends = (f.at, f.to)
    return f.mode == "to_point" and all(t is not None and t.name.endswith(SIDE) for t in ends)


def _halves(circuit: Circuit, s: Suspect) -> Sequence[Suspect]:
    cause = s.causes[0]
    there = tuple(replace(f, at=_across(f.at), to=_across(f.to) if f.to else None) for f in cause.faults)
    nodes = wiring(circuit)
    if any(f.to is None or nodes.node(f.at) == nodes.node(f.to) for f in there):
        return [s]  # nothing to leak to on that side
    half = cause.prior / 2
    other = replace(cause, id=f"{cause.id} (other half)", faults=there, prior=half)
    return [single(replace(cause, prior=half)), single(other)]


def _across(t: Term) -> Term:
    return Term(t.part, t.name.removesuffix(SIDE) + OTHER_SIDE)
