"""What protects a conductor of a feed: its own fuse, else the nearest one upstream in the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import Circuit, Part, key
from amptrail.errors import InputError
from amptrail.feed.fitting import Fitted
from amptrail.feed.graph import CLOSERS, FUSES, RUN, nodes_of, opens_a, plus, reach, way
from amptrail.feed.shape import Chain, feed_edges, grounded_in_sheet, opened
from amptrail.reference.rows import rows
from amptrail.reference.sizing import HOT_INSULATION_C, INSULATION_C, PLACE_C, largest_fuse_a
from amptrail.reference.wire import RHO_OHM_MM2_PER_M, Wire, ampacity_a, metric
from amptrail.solve.network import Network

LOSS = 1.075  # a listed wire has 7.5 % more resistance than its bare area (reference: 5.6 to 10.8 %)


@dataclass(frozen=True, slots=True)
class Guard:
    """A fuse and whether it is the feed's own."""

    part: Part
    rating_a: float
    own: bool


def _part(f: Fitted, name: str) -> Part:
    return next(p for p in f.circuit.parts if key(p.name) == key(name))


@lru_cache(maxsize=64)
def unfused(f: Fitted) -> frozenset[int]:
    """Metals joined to battery plus through copper, switches and contacts without any fuse."""
    without = {e.branch for e in feed_edges(f)}
    found = reach(f.network, [plus(f.network)], (*RUN, *CLOSERS), without)
    return frozenset(found) - grounded_in_sheet(f)


def upstream(f: Fitted, node: int, *, broken: bool = False) -> Guard | None:
    """The nearest fuse on the sheet's own way from battery plus to a metal; None: no fuse, or no way.
    `broken`: what the fault opens counts as whole (what used to protect it)."""
    without = {e.branch for e in feed_edges(f)} | (frozenset() if broken else opened(f))
    found = reach(f.network, [plus(f.network)], (*RUN, *CLOSERS, *FUSES), without)
    if node not in found:
        return None
    fuses = [e for e in way(found, node) if e.kind in FUSES]
    if not fuses:
        return None
    part = _part(f, fuses[-1].part)
    return Guard(part, opens_a(part), False)


def guard(f: Fitted, c: Chain) -> Guard | None:
    """What opens when the chain is shorted at its far end: the smallest of its own fuses, else upstream."""
    if c.fuses:
        part = min(c.fuses, key=opens_a)
        return Guard(part, opens_a(part), True)
    return upstream(f, c.source)


def air_at(sheet: Circuit, net: Network, *nodes: int) -> float:
    """Air around a conductor between these metals, C: engine-bay heat where one of them is at a hot place."""
    hot = {key(p.name) for p in sheet.places if "hot" in p.traits}
    placed = {key(p.name): key(p.place) for p in sheet.parts if p.place}
    for (part, _), n in net.node_index.items():
        if n in nodes and placed.get(part) in hot:
            return PLACE_C["engine-bay"]
    return PLACE_C["cabin"]


def air_c(f: Fitted, *nodes: int) -> float:
    """`air_at` of the circuit a feed is fitted to."""
    return air_at(f.sheet, f.network, *nodes)


def wire_of(area_mm2: float) -> Wire:
    """The listed wire of an area, or one between the sizes with the usual loss."""
    try:
        return metric(area_mm2)
    except InputError:
        return Wire(
            f"{area_mm2:g} mm2", area_mm2, LOSS * RHO_OHM_MM2_PER_M / area_mm2, "computed", "reference.wire"
        )


def carries_a(area_mm2: float, ambient_c: float) -> float:
    """Steady current of one wire in free air, A (33 CFR 183.425 Table 5, reference.wire)."""
    insulation = INSULATION_C if ambient_c <= 70 else HOT_INSULATION_C
    return ampacity_a(wire_of(area_mm2), ambient_c, insulation)


def largest_a(area_mm2: float, ambient_c: float) -> float:
    """Largest fuse before a wire, A; 0 for a wire too thin to name."""
    if area_mm2 < min(float(r["area_mm2"]) for r in rows("wire_fuse")) - 1e-9:
        return 0.0
    return largest_fuse_a(wire_of(area_mm2), carries_a(area_mm2, ambient_c))


__all__ = [
    "Guard",
    "air_at",
    "air_c",
    "carries_a",
    "guard",
    "largest_a",
    "nodes_of",
    "unfused",
    "upstream",
    "wire_of",
]
