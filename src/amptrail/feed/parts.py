"""What is needed to fit a feed, how long it takes, and what its label says."""

from __future__ import annotations

from typing import Any

from amptrail.circuit import tables
from amptrail.circuit.model import Part, key
from amptrail.feed.fitting import Fitted
from amptrail.feed.marks import Purpose
from amptrail.feed.shape import Chain, area_mm2, chains, length_m, point_name
from amptrail.reference.wire import awg_wires
from amptrail.units import rounded

Json = dict[str, Any]
# minutes of work beside reaching the places (common practice)
PER_JOINT_MIN, PER_CUT_MIN, PER_METRE_MIN, PER_RELAY_MIN, LABEL_MIN = 3.0, 3.0, 1.0, 8.0, 2.0
USE: dict[Purpose, str] = {
    "try": "TRY ONLY, attended, take out before leaving",
    "home": "ONE DRIVE HOME ONLY",
    "leave": "TEMPORARY, until repaired",
}


def awg_of(area: float) -> str:
    """The nearest gauge that is no thinner, else the thickest listed."""
    for w in awg_wires():
        if w.nominal_mm2 >= area * 0.93:  # a gauge of vehicle wire has up to 11 % less copper than its number
            return w.name.removesuffix(" AWG")
    return awg_wires()[-1].name.removesuffix(" AWG")


def part_row(p: Part) -> Json:
    """One part to fit: wire with mm2 and AWG, fuse with its rating, relay, diode."""
    row: Json = {
        "name": p.name,
        "what": p.kind,
        "rating_a": None,
        "area_mm2": None,
        "awg": None,
        "length_m": None,
    }
    if p.kind == "wire":
        area = area_mm2(p)
        row["length_m"] = length_m(p) if p.said("length_m") is not None or area is not None else None
        if area is not None:
            row["area_mm2"], row["awg"] = area, awg_of(area)
    elif p.kind in ("fuse", "link"):
        row["rating_a"] = tables.number(p, "rating_a")
    return row


def _place(f: Fitted, node: int) -> str | None:
    placed = {key(p.name): p.place for p in f.sheet.parts if p.place}
    for (part, _), n in f.network.node_index.items():
        if n == node and part in placed:
            return placed[part]
    return None


def minutes(f: Fitted) -> float:
    """Minutes to fit: reach every place once, each joint, cut, metre and relay, and the label."""
    every = chains(f)
    ends = {n for c in every for n in (c.source, c.end)}
    reach = {key(p.name): p.minutes or 0.0 for p in f.sheet.places}
    places = {key(x) for n in ends if (x := _place(f, n))}
    places |= {
        key(p.place) for p in f.sheet.parts if p.place and key(p.name) in {key(c) for c in f.feed.cuts}
    }
    work = PER_JOINT_MIN * len(ends) + PER_CUT_MIN * 2 * len(f.feed.cuts) + LABEL_MIN
    work += sum(PER_METRE_MIN * length_m(p) for p in f.feed.parts if p.kind == "wire" and p.said("length_m"))
    work += PER_RELAY_MIN * sum(p.kind == "relay" for p in f.feed.parts)
    return round(work + sum(reach.get(p, 0.0) for p in places), 1)


def _hub(f: Fitted, point: str) -> str:
    """A leg of a splice or ground as its name alone: nobody at the vehicle counts legs."""
    name, dot, leg = point.partition(".")
    hub = any(key(p.name) == key(name) and p.kind in ("splice", "ground") for p in f.sheet.parts)
    return name if hub and dot and leg.isdigit() else point


def chain_text(f: Fitted, c: Chain) -> str:
    """`F3.out > 5 A fuse > 0.5 mm2 2 m > K4.86`."""
    words = []
    for p in c.parts:
        if p.kind in ("fuse", "link"):
            words.append(f"fuse {tables.number(p, 'rating_a'):g} A")
        elif p.kind == "wire":
            area = area_mm2(p)
            size = f"{area:g} mm2 (AWG {awg_of(area)})" if area is not None else "wire"
            words.append(size + (f" {rounded(length_m(p), 'm')}" if p.said("length_m") is not None else ""))
        elif p.kind == "relay":
            words.append("relay coil" if c.control else "relay contact")
        else:
            words.append(p.kind)
    ends = [_hub(f, point_name(f.network, f, n)) for n in (c.source, c.end)]
    return " > ".join([ends[0], *dict.fromkeys(words), ends[1]])


def label(f: Fitted, purpose: Purpose, against: str) -> str:
    """The text of the label at the splice."""
    name = "" if key(f.feed.name) == "feed" else f" {f.feed.name}"  # one typed in has no name of its own
    lines = [f"TEMPORARY FEED{name}: {USE[purpose]}"]
    lines += [chain_text(f, c) for c in chains(f)]
    if f.feed.cuts:
        lines.append("cut: " + ", ".join(f.feed.cuts))
    if against:
        lines.append(f"because: {against}")
    lines.append("date ________ by ________ take out when repaired")
    return "\n".join(lines)
