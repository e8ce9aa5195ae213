"""What no wire can be: a loop without resistance, batteries that fight, parts bridged by a drawing."""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import Circuit, Part, Term
from amptrail.circuit.places import part_problem
from amptrail.circuit.tables import number, value
from amptrail.circuit.wiring import Wiring, wiring
from amptrail.errors import Problem

NEAR_IDEAL_OHM = 1e-4  # less than any crimp or bolt has (common practice)
TWO_ENDED = frozenset(
    {
        "wire",
        "fuse",
        "link",
        "polyfuse",
        "joint",
        "switch",
        "resistor",
        "lamp",
        "led",
        "diode",
        "motor",
        "solenoid",
        "heater",
        "ptc",
        "load",
    }
)


def _near_ideal(part: Part) -> bool:
    if part.kind not in ("wire", "joint"):
        return False
    ohm = value(part, "ohm")
    return isinstance(ohm, float) and ohm < NEAR_IDEAL_OHM


def tied(c: Circuit) -> tuple[Wiring, list[int], list[Part]]:
    """Metal joined by hardly any resistance, one number a group, and the wires that close a loop in it."""
    w = wiring(c)
    group = list(range(len(w.names)))
    closing = []
    for p in filter(_near_ideal, c.parts):
        a, b = w.node(Term(p.name, "in")), w.node(Term(p.name, "out"))
        if a is None or b is None or a == b:
            continue
        if group[a] == group[b]:
            closing.append(p)
        old, new = group[a], group[b]
        group = [new if g == old else g for g in group]
    return w, group, closing


def loops(c: Circuit) -> Iterator[Problem]:
    """A loop of wires that hardly resist: how the current parts between them, no sum can tell."""
    for p in tied(c)[2]:
        yield part_problem(
            c,
            p.name,
            "ideal-loop",
            f"{p.name} closes a loop of wires with hardly any resistance",
            "give each wire its length and area instead of a resistance",
            "warning",
        )


def batteries(c: Circuit) -> Iterator[Problem]:
    """No battery, one shorted by the drawing, two of different volts with nothing between."""
    if not any(p.kind == "battery" for p in c.parts):
        yield Problem("no-battery", "there is no battery", remedy="add: battery BAT 12.6 V")
    w, metal, _ = tied(c)
    seen: dict[tuple[int, int], Part] = {}
    for p in c.parts:
        if p.kind != "battery":
            continue
        plus, minus = w.node(Term(p.name, "+")), w.node(Term(p.name, "-"))
        if plus == minus:
            yield part_problem(
                c,
                p.name,
                "battery-shorted",
                f"both posts of {p.name} are one metal",
                "put the parts between them into a path",
            )
        if plus is None or minus is None:
            continue
        first = seen.setdefault((metal[plus], metal[minus]), p)
        if first is not p and number(first, "emf_v") != number(p, "emf_v"):
            yield part_problem(
                c,
                p.name,
                "batteries-tied",
                f"{first.name} and {p.name} differ in volts but hardly anything lies between their posts",
                "put the cable between them into a path, with its length and area",
                "warning",
            )


def bridged(c: Circuit) -> Iterator[Problem]:
    """Parts whose two ends the drawing makes one metal."""
    w = wiring(c)
    for p in c.parts:
        if p.kind in TWO_ENDED and not p.contacts:
            a, b = w.node(Term(p.name, "in")), w.node(Term(p.name, "out"))
            if a is not None and a == b:
                yield part_problem(
                    c,
                    p.name,
                    "bridged",
                    f"both ends of {p.name} are the same metal",
                    "look for a net or a path that joins them by mistake",
                )
