"""Spots: what a person asks to read, resolved to metal or a branch.

A spot keeps the name it was asked by; `node` is the canonical terminal of its metal (JSON contract 2).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from amptrail.circuit.model import Circuit, Point, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.errors import nearest, one
from amptrail.sheet import parse_point


@dataclass(frozen=True, slots=True)
class Spot:
    """`what` is volts between a and b (b None: the battery negative), amps through branch a, or ohms."""

    name: str
    what: Literal["volts", "amps", "ohms"]
    a: Term
    b: Term | None = None


def battery_minus(circuit: Circuit) -> Term:
    """The negative post every voltage refers to by default."""
    for part in circuit.parts:
        if part.kind == "battery":
            return Term(part.name, "-")
    raise one("no-battery", "the sheet has no battery", remedy="add a line such as: battery BAT 12.6 V")


def battery_plus(circuit: Circuit) -> Term:
    """The positive post of the first battery."""
    return Term(battery_minus(circuit).part, "+")


def is_metal(circuit: Circuit, term: Term) -> bool:
    """Whether volts can be read there: anything joined by the sheet, the hub of a splice or ground (its bare
    name), and the motor stud of a starter even when no path goes there."""
    if wiring(circuit).node(term) is not None:
        return True
    part = next((p for p in circuit.parts if key(p.name) == key(term.part)), None)
    if part is None:
        return False
    return (part.kind in ("splice", "ground") and not term.name) or (
        part.kind == "starter" and key(term.name) == "m"
    )


@lru_cache(maxsize=4096)
def spot(circuit: Circuit, text: str) -> Spot:
    """Resolve a point as typed: a named point, `PART.TERMINAL`, a net, or a part for its current."""
    got = parse_point(circuit, text)
    if isinstance(got, Point):
        return Spot(got.name, got.what, got.a, got.b)
    if is_metal(circuit, got):
        return Spot(text, "volts", got)
    if got.name in ("", "coil", "field") or not got.part:
        return Spot(text, "amps", got)
    raise one(
        "unwired-point",
        f"nothing is wired to {text}, so there is nothing to read",
        nearest=nearest(text, [str(t) for t in wiring(circuit).names]),
        remedy="put it in a path, or read another point",
    )


@lru_cache(maxsize=64)
def all_spots(circuit: Circuit) -> tuple[Spot, ...]:
    """Every named point, then one terminal for each metal no named point reads."""
    named = tuple(Spot(p.name, p.what, p.a, p.b) for p in circuit.points)
    joined = wiring(circuit)
    covered = {joined.node(s.a) for s in named if s.what == "volts" and s.b is None}
    ground = joined.node(battery_minus(circuit))
    rest = tuple(
        Spot(str(term), "volts", term)
        for n, term in enumerate(joined.names)
        if n not in covered and n != ground
    )
    return named + rest


@lru_cache(maxsize=1 << 15)
def canonical(circuit: Circuit, term: Term) -> str:
    """One spelling for each metal: the first terminal the sheet wrote on it."""
    n = wiring(circuit).node(term)
    return str(wiring(circuit).names[n]) if n is not None else str(term) if term.name else term.part


def place_of(circuit: Circuit, term: Term) -> str | None:
    """Where the part of a terminal is, when the sheet says so."""
    for part in circuit.parts:
        if key(part.name) == key(term.part):
            return part.place
    return None
