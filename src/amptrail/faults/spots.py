"""Where things can go wrong: every part, branch, joint and metal of a circuit as a named spot."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from amptrail.circuit.model import BODY, Circuit, Driver, Input, Part, Term, key
from amptrail.circuit.tables import number
from amptrail.circuit.wiring import Wiring, wiring
from amptrail.faults.metal import beyond_fuse, touching, wires_at

LEAK_PAIRS_WITHOUT_ROWS = 28  # all pairs of an eight-way plug: beyond that only numbered neighbours

# a terminal of a load or switch may touch what it is mounted on: worth as much loom (common practice)
BARE_ENDS = ("lamp", "led", "motor", "solenoid", "heater", "ptc", "load", "switch", "sensor", "pot")
BARE_END_M = 0.5

HOLDERS = ("lamp", "led", "switch", "motor", "solenoid")
LARGEST_HOLDER = 8  # more parts than this on one metal are a splice, not a holder


@dataclass(frozen=True, slots=True)
class Spot:
    """`kind` and `spot` find the rows of priors.csv; `at` (and `to`) is what a fault there blames.

    `weight` scales the row's weight; `other` is a second spot of a common cause.
    """

    kind: str
    spot: str
    at: Term
    part: Part | None
    to: Term | None = None
    weight: float = 1.0
    other: tuple[Term, ...] = ()
    partner: Part | None = None  # the other part of a common cause
    three_wires: bool = False  # a track with a wiper: its ends are `1` and `3`


def _rows_of(part: Part) -> list[list[str]]:
    said = part.said("rows")
    return [r.split() for r in said.split("/")] if isinstance(said, str) else []


def _distance(rows: list[list[str]], a: str, b: str) -> float | None:
    """Steps between two cavities in the drawn rows; None when one of them is not drawn."""
    found = {c: (i, j) for i, r in enumerate(rows) for j, c in enumerate(r)}
    if a not in found or b not in found:
        return None
    (i, j), (m, n) = found[a], found[b]
    return float(max(abs(i - m), abs(j - n)))


def cavity_names(circuit: Circuit, part: Part) -> tuple[str, ...]:
    """Names of the cavities of a connector or box that the sheet mentions, in order."""
    return tuple(c.name for c in circuit.cavities if key(c.connector) == key(part.name))


def neighbour_pairs(circuit: Circuit, part: Part) -> tuple[tuple[str, str, float], ...]:
    """Pairs of cavities that water may join, with a weight falling with distance.

    Drawn rows decide; without them numbered cavities count as one row, and a small plug may leak
    between any two (its layout is unknown).
    """
    names, rows = cavity_names(circuit, part), _rows_of(part)
    pairs = list(combinations(names, 2))
    found = []
    for a, b in pairs:
        steps = _distance(rows, a, b)
        if steps is not None:
            if steps <= 1:
                found.append((a, b, 1.0))
            continue
        near = a.isdigit() and b.isdigit() and abs(int(a) - int(b)) == 1
        if near or len(pairs) <= LEAK_PAIRS_WITHOUT_ROWS:
            found.append((a, b, 0.7 if near else 0.3))
    return tuple(found)


def _connector(circuit: Circuit, part: Part) -> Iterator[Spot]:
    for name in cavity_names(circuit, part):
        yield Spot(part.kind, "cavity", Term(part.name, name), part)
    pairs = neighbour_pairs(circuit, part)
    w = wiring(circuit)
    for a, b, weight in pairs:
        one, two = Term(part.name, f"{a}.a"), Term(part.name, f"{b}.a")
        if w.node(one) != w.node(two):
            yield Spot(part.kind, "pair", one, part, two, weight)
        if part.kind == "connector":
            yield Spot(part.kind, "swap", Term(part.name, f"{a}.b"), part, Term(part.name, f"{b}.b"), weight)
    close = [p for p in pairs if p[2] == max(x[2] for x in pairs)]
    if part.kind == "connector" and len(close) > 1:
        terms = tuple(Term(part.name, f"{c}.a") for a, b, _ in close for c in (a, b))
        yield Spot(part.kind, "flooded", Term(part.name, ""), part, None, 1.0, terms)


def _relay(part: Part, w: Wiring) -> Iterator[Spot]:
    made = [c for c in ("87", "87a") if w.node(Term(part.name, c)) is not None]
    for c in made:
        yield Spot("relay", "contact", Term(part.name, c), part)
    if w.node(Term(part.name, "85")) is not None:
        yield Spot("relay", "coil", Term(part.name, "coil"), part)
    if "87" in made and w.node(Term(part.name, "30")) is not None:
        yield Spot("relay", "bridge", Term(part.name, "30"), part, Term(part.name, "87"))
    com, plus = (w.node(Term(part.name, t)) for t in ("30", "86"))
    if made and None not in (com, plus, w.node(Term(part.name, "85"))) and com != plus:
        yield Spot("relay", "layout", Term(part.name, "30"), part, Term(part.name, "86"))


def _switch(circuit: Circuit, part: Part) -> Iterator[Spot]:
    w = wiring(circuit)
    for c in part.contacts:
        yield Spot("switch", "contact", Term(part.name, f"{c.a}-{c.b}"), part)
    outs = list(dict.fromkeys(t for c in part.contacts for t in (c.a, c.b)))
    for a, b in combinations(outs, 2):
        one, two = Term(part.name, a), Term(part.name, b)
        joined = w.node(one) is None or w.node(two) is None or w.node(one) == w.node(two)
        if not joined:
            yield Spot("switch", "contact-pair", one, part, two)
    if any(key(i.switch) == key(part.name) for i in circuit.interlocks):
        yield Spot("switch", "interlock", Term(part.name, ""), part)


def _module(circuit: Circuit, part: Part) -> Iterator[Spot]:
    lines = [x for x in circuit.modules if key(x.module) == key(part.name)]
    driven = {key(x.pin) for x in lines if isinstance(x, Driver)}
    for x in lines:
        if isinstance(x, Driver):
            yield Spot("module", "driver", Term(part.name, x.name), part)
        elif isinstance(x, Input) and key(x.pin) not in driven:
            yield Spot("module", "input", Term(part.name, x.pin), part)


def _legs(part: Part, w: Wiring) -> Iterator[Spot]:
    for p, name in w.node_of:
        if p == key(part.name) and name:
            yield Spot(part.kind, "leg", Term(part.name, name), part)


def _of_part(circuit: Circuit, part: Part) -> Iterator[Spot]:
    w = wiring(circuit)
    if part.kind in ("connector", "box"):
        yield from _connector(circuit, part)
    elif part.kind == "relay":
        yield from _relay(part, w)
    elif part.kind == "switch":
        yield from _switch(circuit, part)
    elif part.kind == "module":
        yield from _module(circuit, part)
    elif part.kind in ("splice", "ground"):
        yield from _legs(part, w)
        if part.kind == "ground":
            yield Spot("ground", "hub", Term(part.name, ""), part)
    elif part.kind == "starter":
        for spot in ("contact", "coil", "pull"):
            yield Spot("starter", spot, Term(part.name, spot), part)
    elif part.kind == "alternator" and w.node(Term(part.name, "D+")) is not None:
        yield Spot("alternator", "field", Term(part.name, "field"), part)
    whole = part.kind not in ("connector", "box", "splice", "ground") and not part.contacts
    if whole:
        track = part.kind in ("pot", "sensor") and w.node(Term(part.name, "3")) is not None
        yield Spot(part.kind, "part", Term(part.name, ""), part, three_wires=track)


def _common(circuit: Circuit) -> Iterator[Spot]:
    """Parts of one kind that share a metal (lamps of a cluster, positions of a switch): their other ends
    sit side by side in one holder and may be bridged. The body and the battery posts join strangers."""
    w = wiring(circuit)
    strangers = {w.node(BODY)} | {
        w.node(Term(p.name, t)) for p in circuit.parts if p.kind == "battery" for t in "+-"
    }
    groups: dict[tuple[str, int], list[tuple[Part, Term]]] = {}
    for part in circuit.parts:
        ends = [Term(part.name, t) for t in ("in", "out")]
        nodes = [w.node(t) for t in ends]
        for shared, far in ((nodes[0], ends[1]), (nodes[1], ends[0])):
            if shared is not None and shared not in strangers and w.node(far) is not None:
                groups.setdefault((part.kind, shared), []).append((part, far))
    for (kind, _), members in groups.items():
        if kind in HOLDERS and len(members) <= LARGEST_HOLDER:
            for (a, end_a), (_, end_b) in combinations(members, 2):
                if w.node(end_a) != w.node(end_b):
                    yield Spot(kind, "common", end_a, a, end_b)


def _metal(circuit: Circuit) -> Iterator[Spot]:
    """One spot a metal, except the body, the battery posts and hubs nobody can chafe."""
    w = wiring(circuit)
    by_name = {key(p.name): p for p in circuit.parts}
    never = {w.node(BODY)}
    for p in circuit.parts:
        if p.kind == "battery":
            never |= {w.node(Term(p.name, "-"))}
    for n, term in enumerate(w.names):
        part = by_name.get(key(term.part))
        if n not in never and part is not None:
            metres = sum(number(x, "length_m") for x in wires_at(circuit, n)) / 2
            ends = sum(p.kind in BARE_ENDS for p in touching(circuit).get(n, ()))
            yield Spot("node", "node", term, part, None, max(metres + BARE_END_M * ends, 0.3))


def _blown(circuit: Circuit) -> Iterator[Spot]:
    """Every fuse with every metal behind it: the short that blew it."""
    w = wiring(circuit)
    for part in circuit.parts:
        if part.kind == "fuse":
            behind = beyond_fuse(circuit, part)
            for n in behind:
                at = w.names[n]
                yield Spot("fuse", "blown", Term(part.name, ""), part, at, 1 / len(behind))


def spots(circuit: Circuit) -> tuple[Spot, ...]:
    """Every spot of the circuit where something wears or breaks, in the order of the sheet."""
    found = [s for part in circuit.parts for s in _of_part(circuit, part)]
    return (*found, *_common(circuit), *_metal(circuit), *_blown(circuit))
