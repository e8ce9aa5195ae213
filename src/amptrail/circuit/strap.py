"""The metal of the vehicle and the battery: whether the sheet says what joins them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise

from amptrail.circuit.model import BODY, Circuit, GroundPin, Part, Term, key
from amptrail.circuit.tables import number
from amptrail.circuit.wiring import wiring

STRAP_OHM = 0.0015  # a ground strap with its two joints, where no path says how the body is joined
SHUNT_OHM = 0.1  # a resistor this small is part of a lead
_CONDUCTS = ("wire", "joint", "connector", "box", "splice", "ground", "switch", "fuse", "link", "relay")


def body_is_drawn(c: Circuit) -> bool:
    """Whether anything of the sheet ends on the body: a path, a ground, a module without a ground pin."""
    w = wiring(c)
    grounded = {key(x.module) for x in c.modules if isinstance(x, GroundPin)}
    bare = any(p.kind == "module" and key(p.name) not in grounded for p in c.parts)
    hubs = any(p.kind == "ground" and p.said("to") is None for p in c.parts)
    body = w.node(BODY)
    return bare or hubs or any(n == body and part for (part, _), n in w.node_of.items())


@lru_cache(maxsize=64)
def metal(c: Circuit) -> Term:
    """What a chafed wire touches: the body, or battery minus where the sheet draws none (not so by the laws
    of the oracle format, whose body is a net of its own)."""
    if c.laws == "oracle-1" or body_is_drawn(c):
        return BODY
    return next((Term(p.name, "-") for p in c.parts if p.kind == "battery"), BODY)


def needs_strap(c: Circuit) -> Term | None:
    """The battery minus that a strap is to join to the body; None when a path does, or nothing is on it."""
    if not body_is_drawn(c):
        return None
    group = _joined(c)
    w = wiring(c)
    batteries = [p for p in c.parts if p.kind == "battery"]
    minus = [(Term(p.name, "-"), w.node(Term(p.name, "-"))) for p in batteries]
    plus = {group[n] for p in batteries if (n := w.node(Term(p.name, "+"))) is not None}
    body = w.node(BODY)
    if body is None or any(n is not None and group[n] == group[body] for _, n in minus):
        return None
    return next((t for t, n in minus if n is not None and group[n] not in plus), None)


def _joined(c: Circuit) -> list[int]:
    """A number for each node: the same for those that leads, joints and closed contacts join."""
    w = wiring(c)
    group = list(range(len(w.names)))
    for a, b in _leads(c):
        if a is not None and b is not None and group[a] != group[b]:
            old, new = group[a], group[b]
            group = [new if g == old else g for g in group]
    return group


def _leads(c: Circuit) -> Iterator[tuple[int | None, int | None]]:
    w = wiring(c)
    body = w.node(BODY)
    for x in c.cavities:
        yield w.node(Term(x.connector, f"{x.name}.a")), w.node(Term(x.connector, f"{x.name}.b"))
    for p in filter(_conducts, c.parts):
        ends = [n for (part, name), n in w.node_of.items() if part == key(p.name) and _in_lead(p, name)]
        if p.kind not in ("connector", "box"):
            yield from pairwise(ends)
        if p.kind == "ground" and p.said("to") is None and ends:
            yield ends[0], body


def _conducts(p: Part) -> bool:
    return p.kind in _CONDUCTS or (p.kind == "resistor" and number(p, "ohm") <= SHUNT_OHM)


def _in_lead(p: Part, terminal: str) -> bool:
    return p.kind != "relay" or terminal in ("30", "87", "87a")
