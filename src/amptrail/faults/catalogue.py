"""The catalogue: everything that may be wrong with a circuit, each with how likely it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import cast, get_args

from amptrail.circuit.model import Circuit, Fault, Mode, Part, Place, Term, key
from amptrail.circuit.tables import number
from amptrail.circuit.wiring import wiring
from amptrail.faults.by_hand import by_hand
from amptrail.faults.hypothesis import Hypothesis, Look, label
from amptrail.faults.metal import neighbours, touching
from amptrail.faults.spots import Spot, spots
from amptrail.reference.priors import SINGLES_TOTAL, PriorRow, priors, shares, trait_factor

NOTHING = "nothing-broken"
NOTHING_WEIGHT = 2.0  # against an unsatisfied interlock at 2 a switch (common practice)
FLOODED_LEAKS = 3  # leaks that one flooded plug shows at once; more change no reading much
BULB_SMALL_W, BULB_LARGE_W, BULB_EDGE_W = 5.0, 21.0, 10.0  # the two bulbs that are mixed up

LOW_BATTERY = 0.94  # of its emf: about a quarter charged (as the row of the empty battery in priors.csv)
# causes with a repair of their own that do to the circuit what another mode does
SAID_AS: dict[str, Mode] = {"shut-off": "dead", "cut-off": "open", "bridged": "to_point"}


# a fuse of another rating in the slot, as a share of the right one: it burns the wire, or blows for nothing
MISRATED = {"wrong_rating": 2.0, "too-small": 0.5}


def _written(value: float) -> float:
    """A figure as a person would write it."""
    return float(f"{value:.6g}")


def _has(row: PriorRow, spot: Spot) -> tuple[Fault, ...]:
    attribute, _, factor = row.mode.removeprefix("has:").partition("*")
    if spot.part is None:
        return ()
    value = _written(number(spot.part, attribute) * float(factor))
    return (Fault("has", Term(spot.part.name, ""), attribute=attribute, value=value),)


def _flooded(spot: Spot) -> tuple[Fault, ...]:
    pairs = list(zip(spot.other[::2], spot.other[1::2], strict=True))[:FLOODED_LEAKS]
    return tuple(Fault("to_point", a, b) for a, b in pairs)


def _wrong_bulb(spot: Spot) -> tuple[Fault, ...]:
    small = spot.part is not None and number(spot.part, "rated_w") <= BULB_EDGE_W
    return (Fault("has", spot.at, attribute="rated_w", value=BULB_LARGE_W if small else BULB_SMALL_W),)


def _exchanged(spot: Spot) -> tuple[Fault, ...]:
    a, b = spot.part, spot.partner
    if a is None or b is None:
        return ()
    return tuple(
        Fault("wrong_rating", Term(p.name, ""), value=number(q, "rating_a")) for p, q in ((a, b), (b, a))
    )


def _shed(spot: Spot) -> tuple[Fault, ...]:
    if spot.partner is None:
        return ()
    low = _written(number(spot.partner, "emf_v") * LOW_BATTERY)
    return (Fault("dead", spot.at), Fault("has", Term(spot.partner.name, ""), attribute="emf_v", value=low))


def faults_of(row: PriorRow, spot: Spot) -> tuple[Fault, ...]:
    """The fault objects of one row of the priors at one spot; open-ended resistances have `ohm` None."""
    if row.mode.startswith("has:"):
        return _has(row, spot)
    if row.mode in SAID_AS:
        return (Fault(SAID_AS[row.mode], spot.at, spot.to),)
    if row.mode == "exchanged":
        return _exchanged(spot)
    if row.mode == "shed":
        return _shed(spot)
    if row.mode == "flooded":
        return _flooded(spot)
    if row.mode == "wrong-bulb":
        return _wrong_bulb(spot)
    if row.mode == "shorted":
        ends = ("1", "3") if spot.three_wires else ("in", "out")
        return (Fault("to_point", Term(spot.at.part, ends[0]), Term(spot.at.part, ends[1])),)
    if row.mode == "blown-by-short" and spot.to is not None:
        return (Fault("open", spot.at), Fault("to_ground", spot.to))
    if row.mode in MISRATED and spot.part is not None:
        return (Fault("wrong_rating", spot.at, value=MISRATED[row.mode] * number(spot.part, "rating_a")),)
    if row.mode not in get_args(Mode):
        raise ValueError(f"priors.csv: unknown mode {row.mode}")
    return (Fault(cast(Mode, row.mode), spot.at, spot.to),)


def _place(circuit: Circuit, part: Part | None) -> Place | None:
    if part is None or part.place is None:
        return None
    return next((p for p in circuit.places if key(p.name) == key(part.place or "")), None)


def _of_place(place: Place, share_class: str) -> float:
    factor = 1.0
    for trait in place.traits:
        factor *= trait_factor(trait, share_class)
    return factor


def _surroundings(circuit: Circuit, part: Part, metal: int | None, share_class: str) -> float:
    """What the places say: the part's own, else (a wire, a chafed metal) those of what it is joined to."""
    own = _place(circuit, part)
    if own is not None:
        return _of_place(own, share_class)
    joined = touching(circuit).get(metal, ()) if metal is not None else neighbours(circuit, part)
    found = [_of_place(p, share_class) for x in joined if (p := _place(circuit, x)) is not None]
    return sum(found) / len(found) if found else 1.0


def _factor(circuit: Circuit, part: Part | None, metal: int | None, share_class: str) -> float:
    """What place, recent work and the technician's own word say of a part (or of a metal named by it)."""
    if part is None:
        return 1.0
    factor = _surroundings(circuit, part, metal, share_class)
    touched = {key(w.part) for w in circuit.worked_on}
    if touched and touched & {key(p.name) for p in (part, *neighbours(circuit, part))}:
        factor *= trait_factor("worked-on", share_class)
    for said in circuit.likelier:
        if key(said.part) == key(part.name):
            factor *= said.factor
    return factor


def _identity(row: PriorRow, spot: Spot) -> str:
    to = f">{label(spot.to)}" if spot.to else ""
    prefix = "metal " if spot.spot == "node" else ""
    return f"{prefix}{label(spot.at)}{to}:{row.mode}"


def _hypothesis(circuit: Circuit, row: PriorRow, spot: Spot) -> Hypothesis:
    metal = spot.to if row.mode == "blown-by-short" else spot.at if spot.spot == "node" else None
    blamed = label(metal) if metal else spot.at.part
    if row.mode == "exchanged" and spot.to is not None:
        blamed = f"{spot.at.part} and {spot.to.part}"
    node = wiring(circuit).node(metal) if metal else None
    place = _place(circuit, spot.part)
    look = (Look(row.looks, row.seen_when_so, row.seen_when_not),) if row.looks else ()
    return Hypothesis(
        _identity(row, spot),
        faults_of(row, spot),
        row.weight * spot.weight * _factor(circuit, spot.part, node, row.share_class),
        f"{row.repair_group} {blamed}",
        row.repair.replace("{part}", blamed),
        row.repair_minutes + ((place.minutes or 0.0) if place else 0.0),
        row.severity,
        row.intermittent,
        look,
        row.hurts,
        row.share_class,
        spot.part.name if spot.part else spot.at.part,
        place.name if place else None,
    )


def _weighed(circuit: Circuit) -> Iterator[Hypothesis]:
    by_spot: dict[tuple[str, str], list[PriorRow]] = {}
    for row in priors():
        for kind in row.kinds:
            by_spot.setdefault((kind, row.spot), []).append(row)
    for spot in (*spots(circuit), *by_hand(circuit)):
        for row in by_spot.get((spot.kind, spot.spot), ()):
            if row.mode == "to_supply" and _at_supply(circuit, spot):
                continue
            yield _hypothesis(circuit, row, spot)
    text = "nothing to repair: explain what it needs to work"
    yield Hypothesis(NOTHING, (), NOTHING_WEIGHT, NOTHING, text, 5.0, share_class="nothing broken")


def _at_supply(circuit: Circuit, spot: Spot) -> bool:
    w = wiring(circuit)
    posts = {w.node(Term(p.name, "+")) for p in circuit.parts if p.kind == "battery"}
    return w.node(spot.at) in posts


@lru_cache(maxsize=16)
def catalogue(circuit: Circuit) -> tuple[Hypothesis, ...]:
    """Every cause the circuit allows, in the order of the sheet; priors sum to SINGLES_TOTAL.

    Each class of fault gets its share of the classified stories, spread over its hypotheses by weight;
    classes the circuit has no place for are left out and the rest scaled up. So a long sheet does not
    make a kind of fault likelier than a short one does.
    """
    found = list(_weighed(circuit))
    total: dict[str, float] = {}
    for h in found:
        total[h.share_class] = total.get(h.share_class, 0.0) + h.prior
    present = sum(shares()[c] for c in total)
    return tuple(
        replace(h, prior=SINGLES_TOTAL * shares()[h.share_class] / present * h.prior / total[h.share_class])
        for h in found
    )
