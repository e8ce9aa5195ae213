"""What the sheet does not say and the program assumes: grouped, the few that decide something first.

A verdict may not rest on a default nobody confirmed, and a reading is held against bands that come from it.
"""

from __future__ import annotations

from amptrail.circuit.model import Circuit, Part
from amptrail.circuit.module_defaults import unconfirmed
from amptrail.circuit.tables import attribute, confirmed, table, value
from amptrail.jobs.base.context import Json

# by kind: what decides whether something works, blows or holds; the rest moves a reading by millivolts
MATTERS: dict[str, tuple[str, ...]] = {
    "battery": ("emf_v",), "alternator": ("emf_v",), "fuse": ("rating_a",), "link": ("rating_a",),
    "polyfuse": ("hold_a", "trip_a"), "relay": ("coil_ohm", "pull_v", "drop_v", "layout", "suppressed"),
    "starter": ("pull_v", "hold_ohm", "motor_ohm"), "wire": ("area_mm2", "length_m"),
    "lamp": ("rated_w", "rated_v"), "led": ("forward_v", "ohm"), "heater": ("rated_w", "rated_v"),
    "motor": ("run_a", "stall_ohm"), "solenoid": ("ohm",), "resistor": ("ohm",), "load": ("amps", "min_v"),
    "ptc": ("cold_ohm", "limit_a"), "sensor": ("ohm",), "pot": ("position", "ohm"),
}  # fmt: skip
MODULE = {
    "lives_above_v": "lives above", "awake_ohm": "takes awake", "asleep_ohm": "takes asleep",
    "pull_ohm": "pull of an input", "on_ohm": "output while on", "leak_ohm": "output while off",
    "ohm": "bus pin", "volts": "bus pin at rest",
}  # fmt: skip
SMALL = ("leak_ohm", "ohm", "volts")


def of_part(circuit: Circuit, part: Part) -> list[str]:
    """Names of the values of a part that nobody stated."""
    plain = [a.name for a in table(part.kind) if a.default is not None and not confirmed(part, a.name)]
    return plain + (list(unconfirmed(circuit, part.name)) if part.kind == "module" else [])


def _row(part: Part, name: str) -> Json:
    if part.kind == "module":
        figure = name.rpartition(" ")[2]
        words = MODULE.get(figure, figure)
        return {"kind": part.kind, "attribute": figure, "words": words, "assumed": None, "unit": "",
                "matters": figure not in SMALL}  # fmt: skip
    a = attribute(part.kind, name)
    known = value(part, name)
    assumed = known if isinstance(known, (int, float, str)) and not isinstance(known, bool) else None
    unit = "" if a.unit.startswith(("choice", "text", "flag", "phases", "names")) else a.unit
    words, matters = a.description or a.word or name, name in MATTERS.get(part.kind, ())
    return {"kind": part.kind, "attribute": name, "words": words, "assumed": assumed, "unit": unit,
            "matters": matters}  # fmt: skip


def groups(circuit: Circuit) -> list[Json]:
    """A row for each value assumed of a kind of part, with the parts it is assumed of; what matters first."""
    found: dict[tuple[object, ...], Json] = {}
    for part in circuit.parts:
        for name in of_part(circuit, part):
            row = _row(part, name)
            known = found.setdefault((row["kind"], row["attribute"], row["assumed"]), {**row, "parts": []})
            if part.name not in known["parts"]:
                known["parts"].append(part.name)
    return sorted(found.values(), key=lambda r: not r["matters"])
