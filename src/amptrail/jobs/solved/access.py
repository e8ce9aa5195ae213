"""How points are reached, and what it costs in minutes: which terminal of a metal a person would touch.

Minutes are common practice (JOB.md section 1.5, from memory): fuse top tabs 0.2 each, relay socket pins
1-2, battery posts 0.2, back-probe at a visible connector 2-3; dismantling is in the minutes of the place.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import Circuit, Part, Term, key
from amptrail.circuit.wiring import wiring

HOW_MINUTES: dict[str, float] = {
    "post": 0.2,
    "fuse-top": 0.2,
    "bolt": 0.5,
    "socket": 1.5,
    "back-probe": 2.0,
    "open-plug": 1.5,
    "pierce": 4.0,
}
# how a terminal of a part of this kind is reached when the sheet does not say
HOW_BY_KIND: dict[str, str] = {
    "battery": "post", "alternator": "bolt", "fuse": "fuse-top", "link": "bolt", "joint": "bolt",
    "connector": "back-probe", "box": "back-probe", "splice": "pierce", "ground": "bolt",
    "switch": "back-probe",
    "relay": "socket", "resistor": "back-probe", "lamp": "back-probe", "led": "pierce", "diode": "pierce",
    "motor": "back-probe", "starter": "bolt", "solenoid": "back-probe", "heater": "back-probe",
    "ptc": "back-probe", "pot": "back-probe", "sensor": "back-probe", "load": "back-probe",
    "module": "back-probe", "polyfuse": "not",
}  # fmt: skip
DEFAULT_PLACE_MIN = 1.0


@dataclass(frozen=True, slots=True)
class Access:
    """One way to touch a metal: the terminal, how, where, and the minutes to have a lead on it.

    `relay_out` names the relay whose socket must be empty (its coil and contact are then out of circuit).
    """

    term: Term
    node: int
    how: str
    place: str
    minutes: float
    relay_out: str | None = None


def place_minutes(circuit: Circuit, place: str) -> float:
    """Minutes to lay a place open, from the sheet; one minute when it does not say."""
    for p in circuit.places:
        if key(p.name) == key(place):
            return p.minutes if p.minutes is not None else DEFAULT_PLACE_MIN
    return DEFAULT_PLACE_MIN


def start_place(circuit: Circuit) -> str:
    """Where the technician starts: as the sheet says, else at the battery."""
    if circuit.start_place:
        return circuit.start_place
    for part in circuit.parts:
        if part.kind == "battery" and part.place:
            return part.place
    return "vehicle"


def travel_minutes(circuit: Circuit, a: str, b: str) -> float:
    """Minutes from one place to another: as stated, else 0.5 through the start place."""
    if key(a) == key(b):
        return 0.0
    for t in circuit.travels:
        if {key(t.a), key(t.b)} == {key(a), key(b)}:
            return t.minutes
    return 0.5


@lru_cache(maxsize=64)
def _parts(circuit: Circuit) -> dict[str, Part]:
    return {key(p.name): p for p in circuit.parts}


def _how(circuit: Circuit, term: Term, part: Part) -> tuple[str, float | None]:
    for r in circuit.reaches:
        if key(r.at.part) == key(term.part) and key(r.at.name) in (key(term.name), ""):
            return r.how, r.minutes
    return HOW_BY_KIND.get(part.kind, "not"), None


def place_of_part(circuit: Circuit, part: Part) -> str:
    """Where it is; where one starts, if nobody said."""
    return part.place or start_place(circuit)


def access(circuit: Circuit, term: Term) -> Access | None:
    """How this terminal is touched, or None when it cannot be (inside a part, a wire end, a bare metal)."""
    part = _parts(circuit).get(key(term.part))
    node = wiring(circuit).node(term)
    if part is None or node is None:
        return None
    how, minutes = _how(circuit, term, part)
    if how in ("not", "not-at-all"):
        return None
    cost = minutes if minutes is not None else HOW_MINUTES.get(how, 2.0)
    out = part.name if part.kind == "relay" and how == "socket" else None
    return Access(term, node, how, place_of_part(circuit, part), cost, out)


@lru_cache(maxsize=64)
def touchable(circuit: Circuit) -> tuple[Access, ...]:
    """For every metal and place, the cheapest terminal to touch, relay sockets kept apart.

    A pin under a fitted relay is not among them except as a socket pin with that relay out.
    """
    best: dict[tuple[int, str, str | None], Access] = {}
    joined = wiring(circuit)
    terms = dict.fromkeys(t for group in _all_terms(circuit) for t in group)
    for term in terms:
        a = access(circuit, term)
        if a is None or joined.node(term) is None:
            continue
        slot = (a.node, key(a.place), a.relay_out)
        if slot not in best or a.minutes < best[slot].minutes:
            best[slot] = a
    return tuple(best.values())


def _all_terms(circuit: Circuit) -> tuple[tuple[Term, ...], ...]:
    hops = tuple(
        (Term(h.part, h.a), Term(h.part, h.b)) for path in circuit.paths for h in path.hops if h.part
    )
    posts = tuple((Term(p.name, "+"), Term(p.name, "-")) for p in circuit.parts if p.kind == "battery")
    return posts + hops + tuple(net.terms for net in circuit.nets)
