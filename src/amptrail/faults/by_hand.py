"""Where a hand or a module makes a fault: fuses exchanged, a load given up, what was fitted later."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import combinations

from amptrail.circuit.model import Circuit, Driver, Term, key
from amptrail.circuit.tables import number
from amptrail.circuit.wiring import wiring
from amptrail.faults.metal import carried, neighbours, touching
from amptrail.faults.spots import Spot


def _exchanged(circuit: Circuit) -> Iterator[Spot]:
    """Two fuses of one place, of unlike ratings, each in the slot of the other."""
    fuses = [p for p in circuit.parts if p.kind == "fuse" and p.place is not None]
    pairs = [
        (a, b)
        for a, b in combinations(fuses, 2)
        if key(a.place or "") == key(b.place or "") and number(a, "rating_a") != number(b, "rating_a")
    ]
    partners = Counter(p.name for pair in pairs for p in pair)
    for a, b in pairs:  # a fuse has one slot to be mistaken for another, however many there are
        share = 2 / (partners[a.name] + partners[b.name])
        yield Spot("fuse", "exchanged", Term(a.name, ""), a, Term(b.name, ""), share, partner=b)


def _shed(circuit: Circuit) -> Iterator[Spot]:
    """Outputs that work a heater, by themselves or through a relay: the first that a module gives up on a
    low battery (common practice: comfort heat goes first)."""
    w, near = wiring(circuit), touching(circuit)
    battery = next((p for p in circuit.parts if p.kind == "battery"), None)
    for x in circuit.modules:
        start = w.node(Term(x.module, x.pin)) if isinstance(x, Driver) else None
        if battery is None or start is None or not isinstance(x, Driver):
            continue
        met = list(carried(circuit, start))
        for relay in [p for n in met for p in near.get(n, ()) if p.kind == "relay"]:
            coil = {w.node(Term(relay.name, t)) for t in ("85", "86")}
            made = w.node(Term(relay.name, "87"))
            if coil & set(met) and made is not None:
                met += carried(circuit, made, relay.name)
        if any(p.kind in ("heater", "ptc") for n in met for p in near.get(n, ())):
            part = next(p for p in circuit.parts if key(p.name) == key(x.module))
            yield Spot("module", "shed", Term(part.name, x.name), part, partner=battery)


def _fitted(circuit: Circuit) -> Iterator[Spot]:
    """Where somebody has worked: a cut-off let into a wire, a bridge over a switch."""
    worked = {key(x.part) for x in circuit.worked_on}
    for part in circuit.parts if worked else ():
        if worked & {key(p.name) for p in (part, *neighbours(circuit, part))}:
            if part.kind == "wire":
                yield Spot("wire", "fitted", Term(part.name, ""), part)
            elif part.kind == "switch" and not part.contacts:
                yield Spot("switch", "fitted", Term(part.name, "in"), part, Term(part.name, "out"))


def by_hand(circuit: Circuit) -> tuple[Spot, ...]:
    """Every such spot of the circuit, in the order of the sheet."""
    return (*_exchanged(circuit), *_shed(circuit), *_fitted(circuit))
