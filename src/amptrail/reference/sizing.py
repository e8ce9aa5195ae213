"""Wire and fuse for a steady current over a length: metric and AWG, with every source used."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from amptrail.errors import one
from amptrail.reference.fuse import fuses, opens_within_s, reach_m
from amptrail.reference.rows import rows
from amptrail.reference.wire import Wire, ampacity_a, awg_wires, metric_wires, temperature_c

# air around the wire, C (common practice; engine bay by the high class of vehicle wiring)
PLACE_C = {"cabin": 40.0, "outside": 40.0, "underbody": 50.0, "engine-bay": 85.0, "exhaust": 105.0}
FUSE_SHARE = 0.8  # steady load at most this share of the fuse (ABYC E-11: 125 %; seen)
BUNDLE = 0.7  # three wires side by side (33 CFR 183.425, given there above 50 V; seen)
INSULATION_C, HOT_INSULATION_C = (
    105,
    125,
)  # thin-wall PVC; cross-linked for hot places (ISO 6722 classes; memory)
SHORT_RULE = "2 x rating within 5 s, ISO 8820-3 gates; 12.0 V behind 15 mohm, wire at 85 C"
USUAL_DROP_V = 0.5  # whole feed (common practice)


@dataclass(frozen=True, slots=True)
class Choice:
    """One wire with the fuse that protects it and serves the load."""

    wire: Wire
    fuse_a: float
    drop_v: float
    temperature_c: float
    ampacity_a: float
    reach_m: float


def largest_fuse_a(wire: Wire, ampacity: float) -> float:
    """Largest fuse allowed before this wire, A: its ampacity, and trade practice for its area."""
    usual = [(float(r["area_mm2"]), float(r["largest_fuse_a"])) for r in rows("wire_fuse")]
    # AWG and in-between sizes take the practice of the next smaller metric area (by copper)
    allowed = [a for area, a in usual if area <= wire.nominal_mm2 * 1.001]
    return min(ampacity, max(allowed, default=min(a for _, a in usual) * wire.nominal_mm2 / usual[0][0]))


def _ratings() -> list[float]:
    return sorted({f.rating_a for form in ("blade", "maxi") for f in fuses(form)})


def fuse_for(amps: float) -> float | None:
    """Smallest fuse that a steady load may use 80 % of, A; None beyond the table."""
    return next((r for r in _ratings() if FUSE_SHARE * r >= amps - 1e-9), None)


def _suits(
    wire: Wire, amps: float, length_m: float, drop_v: float, ambient_c: float, insulation_c: int
) -> Choice | None:
    fuse = fuse_for(amps)
    limit = ampacity_a(wire, ambient_c, insulation_c) * BUNDLE
    if fuse is None or fuse > largest_fuse_a(wire, limit):
        return None
    hot = temperature_c(wire, amps / BUNDLE, ambient_c, insulation_c)
    drop = amps * length_m * wire.ohm_per_m_at(hot)
    reach = reach_m(wire, fuse)
    if drop > drop_v + 1e-12 or reach < length_m:
        return None
    let_through = (6 * fuse) ** 2 * (
        opens_within_s(fuse, 6 * fuse, "blade" if fuse <= 40 else "maxi") or math.inf
    )
    return None if let_through > wire.adiabatic_a2s else Choice(wire, fuse, drop, hot, limit, reach)


def _first(wires: Sequence[Wire], *wanted: Any) -> Choice | None:
    return next((c for c in (_suits(w, *wanted) for w in wires) if c is not None), None)


def _ambient(place: str | float) -> float:
    if isinstance(place, (int, float)):
        return float(place)
    found = PLACE_C.get(place.lower().replace("_", "-"))
    if found is None:
        raise one("place", f"no temperature is known for {place!r}", expected=tuple(PLACE_C))
    return found


def _sources(choice: Choice) -> list[dict[str, str]]:
    awg = "33 CFR 183.425 Table 5, one wire at 30 C, by copper area"
    return [
        {"what": "wire resistance", "where": choice.wire.source, "status": choice.wire.status},
        {"what": "copper by temperature", "where": "IEC 60028", "status": "seen"},
        {"what": "ampacity", "where": f"{awg}; three wires x {BUNDLE}", "status": "computed"},
        {"what": "steady load at most 80 % of the fuse", "where": "ABYC E-11 text (125 %)", "status": "seen"},
        {"what": "largest fuse of a wire", "where": "trade practice", "status": "memory"},
        {"what": "dead short at the far end opens the fuse",
         "where": SHORT_RULE, "status": "computed"},
        {"what": "wire survives the short", "where": "IEC 60364-4-43, k = 115", "status": "memory"},
    ]  # fmt: skip


def _check(amps: float, length_m: float, drop_v: float) -> None:
    for name, value in (("current", amps), ("length", length_m), ("drop", drop_v)):
        if not (math.isfinite(value) and value > 0):
            raise one("size", f"the {name} must be a number above zero, not {value}",
                      remedy=f"give the {name} as a number above zero")  # fmt: skip


def size(
    amps: float, length_m: float, drop_v: float | None = None, place: str | float = "cabin"
) -> dict[str, Any]:
    """Thinnest wire and smallest fuse for `amps` A steady over `length_m` m of wire (one way, no return).

    Keys as in the JSON contract, point 12, and `awg_drop_v`, `ambient_c`, `ampacity_a`, `longest_m`.
    `drop_v` is what the wire may lose (default 0.5 V); `place` a word or the air temperature in C. InputError
    when no wire of the tables will do. A load whose start takes longer than a second needs its own look.
    """
    limit = USUAL_DROP_V if drop_v is None else drop_v
    _check(amps, length_m, limit)
    ambient = _ambient(place)
    insulation = INSULATION_C if ambient <= 70 else HOT_INSULATION_C
    wanted = (amps, length_m, limit, ambient, insulation)
    chosen, in_awg = _first(metric_wires(), *wanted), _first(awg_wires(), *wanted)
    if chosen is None:
        text = f"no wire listed carries {amps:g} A over {length_m:g} m within {limit:g} V at {ambient:g} C"
        raise one(
            "size", text,
            remedy="Allow more drop, come closer to the source, or split the load.",
        )  # fmt: skip
    return {
        "area_mm2": chosen.wire.nominal_mm2,
        "awg": in_awg.wire.name.removesuffix(" AWG") if in_awg else None,
        "fuse_a": chosen.fuse_a,
        "drop_v": chosen.drop_v,
        "temperature_c": chosen.temperature_c,
        "sources": _sources(chosen),
        "awg_drop_v": in_awg.drop_v if in_awg else None,
        "ambient_c": ambient,
        "insulation_c": insulation,
        "ampacity_a": chosen.ampacity_a,
        "longest_m": chosen.reach_m,
    }
