"""The words beside a symbol: name, what the sheet says of size and colour, place, caution."""

from __future__ import annotations

from collections.abc import Sequence

from amptrail import units
from amptrail.circuit.model import Circuit, Part, key
from amptrail.circuit.tables import attribute
from amptrail.draw.graph import up_to_grid
from amptrail.draw.text import DETAIL_PX, NAME_PX, broken, widest

SHOWN: dict[str, tuple[str, ...]] = {
    "battery": ("emf_v",), "alternator": ("emf_v",), "fuse": ("rating_a",), "link": ("rating_a",),
    "polyfuse": ("hold_a",), "lamp": ("rated_v", "rated_w"), "led": ("forward_v",), "motor": ("run_a",),
    "heater": ("rated_w",), "resistor": ("ohm",), "pot": ("ohm",), "sensor": ("ohm",), "solenoid": ("ohm",),
    "load": ("amps",), "wire": ("area_mm2", "length_m"),
}  # fmt: skip


def figure(part: Part, name: str) -> str | None:
    """An attribute the sheet itself states, for people; None where the sheet is silent."""
    value = part.said(name)
    if not isinstance(value, (int, float)) or isinstance(value, bool):
        return None
    unit = units.checked(attribute(part.kind, name).unit)
    return units.rounded(float(value), unit).replace("mm2", "mm²").replace("ohm", "Ω")


def cautions(circuit: Circuit) -> dict[str, list[str]]:
    """Words of caution by part (key): what must not be bridged, shown where the part is drawn."""
    found: dict[str, list[str]] = {}
    for r in circuit.refuses:
        found.setdefault(key(r.part), []).append(f"caution: {r.refuse_class}")
    return found


def part_label(part: Part, caution: list[str]) -> tuple[str, ...]:
    """Lines beside a part; a wire the sheet gave no name shows only its colour and size."""
    figures = [f for a in SHOWN.get(part.kind, ()) if (f := figure(part, a))]
    if part.kind == "wire":
        colour = part.said("colour")
        name = "" if ">" in part.name else part.name
        lines = broken(" ".join(x for x in (name, str(colour or "")) if x), NAME_PX)
        return (*lines, *figures)
    lines = broken(part.name, NAME_PX, lines=3)
    lines += broken(" ".join(figures))
    for words in caution:
        lines += broken(words)
    if part.place:
        lines += broken(part.place)
    return tuple(lines)


def name_lines(label: Sequence[str], name: str) -> int:
    """How many lines of a label are its name, broken where it is too long: at least the first."""
    for k in range(len(label), 1, -1):
        if key("".join(label[:k])) == key(name):
            return k
    return 1


def cavity_label(connector: str, name: str) -> list[str]:
    """Plug and cavity; the cavity is never cut off."""
    full = broken(f"{connector}.{name}", NAME_PX, lines=3)
    return full if not full[-1].endswith("…") else [*broken(connector, NAME_PX), *broken(f".{name}", lines=1)]


def label_px(lines: tuple[str, ...]) -> int:
    """Width kept free for a label, on the grid."""
    return up_to_grid(max(widest(lines[:1], NAME_PX), widest(lines[1:], DETAIL_PX)) + 4) if lines else 0


def about(part: Part) -> str:
    """The full words of a part, for a tooltip."""
    bits = [f"{part.kind} {part.name}"]
    bits += [f for a in SHOWN.get(part.kind, ()) if (f := figure(part, a))]
    if part.place:
        bits.append(f"at {part.place}")
    if part.text:
        bits.append(part.text)
    return ", ".join(bits)
