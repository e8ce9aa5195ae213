"""What a judged feed means for who lives with it: what no longer stops, what is lost, what it breaks."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from amptrail.circuit.model import Circuit, key
from amptrail.jobs.base.context import Json

# rules of `amptrail.feed` whose breach leaves something on, or something dead
STAYS = ("off_when_required", "stop_function", "permanently_on", "self_holding")
OWN = re.compile(r"^feed_(\w+)$")  # parts of a feed that was typed in have no name of their own
DEAD = ("restores_from_asleep", "dead_lock", "restarts", "works_fitted_awake", "after_run", "voltage_drop")


def _joined(marks: Iterable[Json]) -> list[tuple[str, list[str]]]:
    """Parts with the phases they are named in, in their order."""
    found: dict[str, list[str]] = {}
    for m in marks:
        phases = found.setdefault(str(m["part"]), [])
        if m["phase"] not in phases:
            phases.append(str(m["phase"]))
    return list(found.items())


def _left_on(m: Json) -> bool:
    if m["rule"] == "sleeps":
        return bool(m["figure"])
    return m["rule"] in STAYS or (m["rule"] == "on_time" and m["figure"] > m["limit"])


def stays_on(row: Json) -> list[str]:
    """What no longer switches itself off, and in which phases of the vehicle."""
    marks = [m for m in (*row["refusals"], *row["would_break"], *row["notes"]) if _left_on(m)]
    return [f"{part}: still on in {', '.join(phases)}" for part, phases in _joined(marks)]


def lost(row: Json) -> list[str]:
    """What does not work while the feed is fitted."""
    marks = [m for m in (*row["refusals"], *row["would_break"]) if m["rule"] in DEAD]
    return [f"{part}: not as it should be in {', '.join(phases)}" for part, phases in _joined(marks)]


def broken(row: Json) -> list[str]:
    """Each rule it breaks, once for each part, with its figure and limit; what an undecided one may break."""
    out: dict[tuple[str, str], str] = {}
    for m in (*row["refusals"], *row["would_break"]):
        rule = str(m["rule"]).replace("_", " ")
        name = OWN.sub(r"the feed's \1", str(m["part"]))
        said = f", {m['figure']:.3g} {m['unit']} (limit {m['limit']:.3g})"
        figure = "" if m["unit"] in ("", "on") else said
        out.setdefault((rule, m["part"]), f"{rule}: {name}{figure}")
    return list(out.values())


def drain_a(row: Json) -> float | None:
    """The largest current that one battery gives asleep, from every start that was judged, A: of two, the one
    that is drained faster decides how long the engine still starts."""
    told = row.get("drained")
    return float(told["amps"]) if told else None


def place_of(circuit: Circuit, point: str) -> str:
    """The place of the part a point belongs to; empty where the sheet does not say."""
    places = {key(p.name): p.place or "" for p in circuit.parts}
    bits = point.split(".")
    names = [key(".".join(bits[:n])) for n in range(len(bits), 0, -1)]
    return next((places[n] for n in names if n in places), "")


def how_off(name: str, a: str, fuses: Sequence[float]) -> str:
    """How what stays on is switched off by hand."""
    if fuses:
        return f"take out the {min(fuses):g} A fuse of {name}, at {a}"
    return f"part {name} at {a}, battery lead off first"
