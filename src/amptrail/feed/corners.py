"""Corners of the worst case: the tolerance table of NUMERICS ("DESIGN section 9 Worst case") as changes of a
lane.

A corner pushes every number of the table to the end that hurts. Which end hurts is known for the supply
(cold 10.5 V, hot 15 V) and is otherwise taken from the sign of the sensitivity of each rule's figure
(`feed.worst`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import Supply, key
from amptrail.circuit.tables import attribute
from amptrail.feed.evidence import Changes, Put
from amptrail.solve.network import Network, Parameter

COLD_V, HOT_V = 10.5, 15.0
NOMINAL_V = 12.6  # the battery the table's volts are meant for; others in proportion (24 V)
REST_V, CHARGE_V, RATED_V = (11.5, 12.8), (13.2, 14.8), 12.0
WIRE, CONTACT, COIL, PULL, DROP = (0.95, 1.05), (0.5, 3.0), (0.9, 1.1 * 1.25), 0.75, (0.1, 0.5)
LIMIT, DRAW = (0.8, 1.2), (0.5, 2.0)
JOINTS = ("joint", "connector", "box", "splice", "ground", "switch")
FIXED = ("rating_a",)  # printed on the part
UNSAID = (0.5, 2.0)  # a default nobody confirmed may be off by this much more (common practice)


@dataclass(frozen=True, slots=True)
class Range:
    """One number of the circuit and its two ends. `said`: the sheet states it."""

    name: str
    low: tuple[Put, ...]
    high: tuple[Put, ...]
    said: bool
    nominal: float
    ends: tuple[float, float]


def _puts(p: Parameter, value: float) -> tuple[Put, ...]:
    return tuple(Put(array, index, value) for array, index in p.places)


def _ends(net: Network, p: Parameter, kind: str) -> tuple[float, float] | None:
    """The two ends of a parameter, None when the table has nothing for it."""
    v, scale = p.value, _scale(net)
    if p.name == "emf_v":
        a, b = REST_V if kind == "battery" else CHARGE_V
        return min(v, a * scale), max(v, b * scale)
    if p.name == "pull_v":
        return PULL * v, max(v, PULL * RATED_V * scale)
    if p.name == "drop_v":
        return min(v, DROP[0] * RATED_V * scale), max(v, DROP[1] * RATED_V * scale)
    by = {"coil_ohm": COIL, "contact_ohm": CONTACT, "leg_ohm": CONTACT}.get(p.name)
    if p.name == "ohm":
        by = WIRE if kind == "wire" else CONTACT if kind in JOINTS else None
    if p.name in ("awake_ohm", "asleep_ohm"):
        by = (1 / DRAW[1], 1 / DRAW[0])
    if by is None and not _said(net, p) and p.sigma > 0 and p.name not in FIXED:
        by = (
            max(1 - 2 * p.sigma, 0.1),
            1 + 2 * p.sigma,
        )  # a default nobody confirmed: two sigmas of its table
    return None if by is None else (v * by[0], v * by[1])


def _scale(net: Network) -> float:
    """1 for a 12 V system, 2 for 24 V."""
    emf = max((p.value for p in net.parameters if p.name == "emf_v"), default=NOMINAL_V)
    return max(1.0, float(round(emf / NOMINAL_V)))


@lru_cache(maxsize=64)
def _kinds(net: Network) -> dict[str, str]:
    return {key(p.name): p.kind for p in net.circuit.parts}


def _said(net: Network, p: Parameter) -> bool:
    """Whether the sheet states what the parameter follows from; what has no default is said or derived."""
    part = next((x for x in net.circuit.parts if key(x.name) == key(p.part)), None)
    if part is None:
        return True  # a module's line is always written out
    if part.kind == "wire":
        return part.said("ohm") is not None or (
            part.said("length_m") is not None and part.said("area_mm2") is not None
        )
    try:
        attribute(part.kind, p.name)
    except KeyError:
        return True
    # joints and contacts are small either way: their range is in the table already
    return part.said(p.name) is not None or p.name in ("contact_ohm", "leg_ohm") or part.kind in JOINTS


@lru_cache(maxsize=64)
def ranges(net: Network) -> tuple[Range, ...]:
    """Every number the table moves."""
    kinds, found = _kinds(net), []
    supplies = {key(f"{x.module}.{x.pin}") for x in net.circuit.modules if isinstance(x, Supply)}
    for p in net.parameters:
        kind = kinds.get(key(p.part), "module" if key(p.part) in supplies else "")
        ends = _ends(net, p, kind)
        if ends is None:
            continue
        said = _said(net, p)
        if not said and kind == "wire":
            ends = (ends[0] * UNSAID[0], ends[1] * UNSAID[1])
        found.append(Range(f"{p.part} {p.name}", _puts(p, ends[0]), _puts(p, ends[1]), said, p.value, ends))
    for n, name in enumerate(net.drivers):
        limit = float(net.base.limit[n])
        if limit < 1e6:
            low, high = (Put("limit", (n,), limit * x) for x in LIMIT)
            found.append(
                Range(f"{name} limit_a", (low,), (high,), True, limit, (limit * LIMIT[0], limit * LIMIT[1]))
            )
    return tuple(found)


def supply(net: Network, battery_v: float, charge_v: float) -> Changes:
    """Battery and alternator at these volts (of a 12 V system)."""
    kinds, scale = _kinds(net), _scale(net)
    found: list[Put] = []
    for p in net.parameters:
        if p.name == "emf_v":
            volts = battery_v if kinds.get(key(p.part)) == "battery" else charge_v
            found += _puts(p, volts * scale)
    return tuple(found)


def pushed(net: Network, ends: Iterable[int], only_said: bool) -> Changes:
    """Every range at an end: -1 low, 1 high, 0 as the sheet has it. `only_said`: defaults stay."""
    found: list[Put] = []
    for r, end in zip(ranges(net), ends, strict=True):
        if end and (r.said or not only_said):
            found += r.low if end < 0 else r.high
    return tuple(found)
