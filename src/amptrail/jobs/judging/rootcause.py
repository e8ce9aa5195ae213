"""What else a proven fault has touched, and how many good tries show that it is gone.

The circuit tells who shares a plug, a splice, a ground, a fuse or a damp place; what caused it a person
must say.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.circuit.model import Circuit, Fault, Part, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.faults.metal import beyond_fuse, neighbours, touching
from amptrail.faults.spots import neighbour_pairs

CONFIDENCE = 0.95  # that an intermittent is gone (JOB.md section 14)
MOST = 6  # names in one line
BAD_PLACES = ("damp", "hot", "moving", "outside")
TRIES = re.compile(r"\bworks (\d+) of (\d+)")


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Something that shares a place or a metal with the fault, and why it must be looked at."""

    names: tuple[str, ...]
    shares: str

    @property
    def words(self) -> str:
        """In one line."""
        shown = ", ".join(self.names[:MOST]) + (" …" if len(self.names) > MOST else "")
        return f"{shown}: {self.shares}"


def _part(circuit: Circuit, name: str) -> Part | None:
    return next((p for p in circuit.parts if key(p.name) == key(name)), None)


def _plug(circuit: Circuit, part: Part, at: Term) -> list[Neighbour]:
    """Cavities beside a cavity: the drawn rows decide, else its numbers."""
    mine = key(at.name.split(".")[0])
    beside = [
        b if key(a) == mine else a for a, b, _ in neighbour_pairs(circuit, part) if mine in (key(a), key(b))
    ]
    found = (
        [Neighbour(tuple(f"{part.name}.{c}" for c in beside), f"beside it in plug {part.name}")]
        if beside
        else []
    )
    rest = [c.name for c in circuit.cavities if key(c.connector) == key(part.name)]
    rest = [c for c in rest if key(c) != mine and c not in beside]
    if rest:
        found.append(Neighbour(tuple(f"{part.name}.{c}" for c in rest), f"in the same plug {part.name}"))
    return found


def _metal(circuit: Circuit, part: Part) -> list[Neighbour]:
    """Wires and joints that end at the same metal."""
    joined = [
        p
        for p in neighbours(circuit, part)
        if p.kind in ("wire", "splice", "joint", "ground", "connector", "fuse")
    ]
    if not joined:
        return []
    why = {"splice": f"joined in splice {part.name}", "ground": f"joined at ground {part.name}"}
    return [
        Neighbour(tuple(p.name for p in joined), why.get(part.kind, f"ends at the same metal as {part.name}"))
    ]


def _fuses(circuit: Circuit, part: Part) -> list[Neighbour]:
    """Loads behind the same fuse: what overloaded it may be one of them."""
    w = wiring(circuit)
    mine = {n for (p, _), n in w.node_of.items() if p == key(part.name)}
    found = []
    for fuse in circuit.parts:
        if fuse.kind not in ("fuse", "link") or fuse.name == part.name:
            continue
        fed = set(beyond_fuse(circuit, fuse))
        if not (mine & fed):
            continue
        met = touching(circuit)
        others = dict.fromkeys(
            p.name for n in fed for p in met.get(n, ()) if p.kind in LOADS and p.name != part.name
        )
        if others:
            found.append(Neighbour(tuple(others), f"behind the same fuse {fuse.name}"))
    return found


LOADS = (
    "lamp",
    "motor",
    "resistor",
    "heater",
    "solenoid",
    "led",
    "load",
    "ptc",
    "starter",
    "module",
    "relay",
)


def _places(circuit: Circuit, part: Part) -> list[Neighbour]:
    """Joints at the same place, when it is one that does harm."""
    place = next((p for p in circuit.places if part.place and key(p.name) == key(part.place)), None)
    traits = [t for t in (place.traits if place else ()) if t in BAD_PLACES]
    if place is None or not traits:
        return []
    same = [
        p.name for p in circuit.parts if p.place and key(p.place) == key(place.name) and p.name != part.name
    ]
    return [Neighbour(tuple(same), f"at the same place, {place.name} ({', '.join(traits)})")] if same else []


def to_check(circuit: Circuit, faults: Sequence[Fault]) -> tuple[Neighbour, ...]:
    """What shares plug, splice, ground, fuse or a bad place with the faults and must be checked before
    hand-over."""
    found: list[Neighbour] = []
    for f in faults:
        part = _part(circuit, f.at.part)
        if part is None:
            continue
        if part.kind in ("connector", "box"):
            found += _plug(circuit, part, f.at)
        else:
            found += _metal(circuit, part)
        found += _fuses(circuit, part) + _places(circuit, part)
    return tuple(dict.fromkeys(found))


def good_tries(readings_text: str) -> int | None:
    """How many tries without failure show, with CONFIDENCE, that an intermittent is gone; None when none
    was told.

    Failing p of the time, n good tries leave (1 - p)^n (JOB.md section 14: p 0.3 needs 9, p 0.1 needs 29).
    """
    needed = []
    for good, tries in TRIES.findall(readings_text):
        works, of = int(good), int(tries)
        if 0 < works < of:
            needed.append(math.ceil(math.log(1 - CONFIDENCE) / math.log(works / of)))
    return max(needed, default=None)
