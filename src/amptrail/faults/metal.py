"""Which parts touch a metal, and which metals a fuse feeds (through wire and closed contacts, not loads)."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from amptrail.circuit.model import BODY, Circuit, Part, Term, key
from amptrail.circuit.wiring import wiring

CARRIES = ("wire", "joint", "fuse", "link", "polyfuse", "switch")


def _pairs(circuit: Circuit, part: Part) -> Iterator[tuple[Term, Term]]:
    """Pairs of terminals that a part may carry current between without being a load."""
    if part.contacts:
        yield from ((Term(part.name, c.a), Term(part.name, c.b)) for c in part.contacts)
    elif part.kind in CARRIES:
        yield Term(part.name, "in"), Term(part.name, "out")
    elif part.kind in ("connector", "box"):
        for c in circuit.cavities:
            if key(c.connector) == key(part.name):
                yield Term(part.name, f"{c.name}.a"), Term(part.name, f"{c.name}.b")
    elif part.kind == "relay":
        yield from ((Term(part.name, "30"), Term(part.name, c)) for c in ("87", "87a"))
    elif part.kind == "splice":
        legs = [Term(part.name, n) for p, n in wiring(circuit).node_of if p == key(part.name)]
        yield from ((legs[0], leg) for leg in legs[1:])


@lru_cache(maxsize=16)
def links(circuit: Circuit) -> tuple[tuple[str, int, int], ...]:
    """(part, node, node) of everything that carries current without being a load."""
    w = wiring(circuit)
    found = []
    for part in circuit.parts:
        for a, b in _pairs(circuit, part):
            m, n = w.node(a), w.node(b)
            if m is not None and n is not None and m != n:
                found.append((part.name, m, n))
    return tuple(found)


@lru_cache(maxsize=16)
def _linked(circuit: Circuit) -> dict[int, tuple[tuple[str, int], ...]]:
    """`links` by node: (part, other node), in the same order."""
    found: dict[int, list[tuple[str, int]]] = {}
    for part, m, n in links(circuit):
        found.setdefault(m, []).append((part, n))
        found.setdefault(n, []).append((part, m))
    return {n: tuple(x) for n, x in found.items()}


def _reach(circuit: Circuit, start: int, without: frozenset[str], stop: frozenset[int]) -> list[int]:
    """Nodes reached from `start` over links, in order met; `without` parts are cut, `stop` not entered."""
    linked, met = _linked(circuit), {start: None}
    todo = [start]
    for node in todo:
        for part, there in linked.get(node, ()):
            if part not in without and there not in met and there not in stop:
                met[there] = None
                todo.append(there)
    return todo


def beyond_fuse(circuit: Circuit, fuse: Part) -> tuple[int, ...]:
    """Metals fed by a fuse up to the next fuse, its own output first; empty when it hangs loose."""
    w = wiring(circuit)
    ends = [w.node(Term(fuse.name, t)) for t in ("in", "out")]
    posts = [w.node(Term(p.name, "+")) for p in circuit.parts if p.kind == "battery"]
    first, last = ends
    if first is None or last is None or not posts or posts[0] is None:
        return ()
    fed = set(_reach(circuit, posts[0], frozenset({fuse.name}), frozenset()))
    out = last if last not in fed else first if first not in fed else last
    body = w.node(BODY)
    fuses = frozenset(p.name for p in circuit.parts if p.kind in ("fuse", "link", "polyfuse"))
    stop = frozenset(fed | ({body} if body is not None else set()))
    return tuple(n for n in _reach(circuit, out, fuses, stop) if n not in stop)


def carried(circuit: Circuit, start: int, without: str = "") -> tuple[int, ...]:
    """Metals joined to `start` by what carries current without being a load, itself first; not the body, the
    battery, or what lies beyond them or the part `without`."""
    w = wiring(circuit)
    posts = [Term(p.name, t) for p in circuit.parts if p.kind == "battery" for t in "+-"]
    stop = frozenset(n for t in (BODY, *posts) if (n := w.node(t)) is not None)
    return () if start in stop else tuple(_reach(circuit, start, frozenset({without}), stop))


@lru_cache(maxsize=16)
def touching(circuit: Circuit) -> dict[int, tuple[Part, ...]]:
    """The parts with a terminal at each metal."""
    w = wiring(circuit)
    by_name = {key(p.name): p for p in circuit.parts}
    found: dict[int, dict[str, Part]] = {}
    for (part, _), n in w.node_of.items():
        if part in by_name:
            found.setdefault(n, {})[part] = by_name[part]
    return {n: tuple(d.values()) for n, d in found.items()}


def wires_at(circuit: Circuit, node: int) -> tuple[Part, ...]:
    """The wires that end at a metal."""
    return tuple(p for p in touching(circuit).get(node, ()) if p.kind == "wire")


def neighbours(circuit: Circuit, part: Part) -> tuple[Part, ...]:
    """Parts that share a metal with this one, the body excepted (a ground joins everything)."""
    body = wiring(circuit).node(BODY)
    found: dict[str, Part] = {}
    for n in _metals(circuit).get(part.name, ()):
        if n != body:
            found.update({p.name: p for p in touching(circuit)[n] if p.name != part.name})
    return tuple(found.values())


@lru_cache(maxsize=16)
def _metals(circuit: Circuit) -> dict[str, tuple[int, ...]]:
    """The metals each part touches, in the order of `touching`."""
    found: dict[str, list[int]] = {}
    for n, parts in touching(circuit).items():
        for p in parts:
            found.setdefault(p.name, []).append(n)
    return {name: tuple(nodes) for name, nodes in found.items()}
