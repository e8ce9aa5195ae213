"""How many volts the vehicle has: one battery, or several in series through whatever joins them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise

from amptrail.circuit.model import BODY, Circuit, Part, Term, key
from amptrail.circuit.places import part_problem
from amptrail.circuit.tables import table, value
from amptrail.circuit.wiring import wiring
from amptrail.errors import Problem

CELL_BLOCK_V, FULL_V = 12.0, 12.6  # six lead cells: what they are called and what they rest at
LEADS = ("wire", "fuse", "link", "joint", "splice", "ground")


def _leads(c: Circuit) -> Iterator[tuple[int, int]]:
    """Pairs of metals with next to nothing in between."""
    w = wiring(c)
    nodes: dict[str, list[int]] = {}
    for (part, _), n in w.node_of.items():
        nodes.setdefault(part, []).append(n)
    body = w.node(BODY)
    for p in c.parts:
        mine = nodes.get(key(p.name), [])
        if p.kind in LEADS:
            yield from pairwise(mine)
        if p.kind == "ground" and mine and body is not None:
            yield mine[0], body
    for x in c.cavities:
        a, b = (w.node(Term(x.connector, f"{x.name}.{side}")) for side in "ab")
        if a is not None and b is not None:
            yield a, b


def _emf(p: Part) -> float:
    said = value(p, "emf_v")
    return float(said) if isinstance(said, (int, float)) else FULL_V


@lru_cache(maxsize=64)
def nominal_v(circuit: Circuit) -> float:
    """12, 24, 36, 48 … V: the highest battery post above the lowest, in blocks of 12 V; 6 for a battery below
    9 V; 12 without a battery."""
    w = wiring(circuit)
    steps: dict[int, list[tuple[int, float]]] = {}
    for a, b in _leads(circuit):
        steps.setdefault(a, []).append((b, 0.0))
        steps.setdefault(b, []).append((a, 0.0))
    posts = []
    for p in circuit.parts:
        plus, minus = (w.node(Term(p.name, post)) for post in "+-")
        if p.kind == "battery" and plus is not None and minus is not None:
            posts += [minus, plus]
            steps.setdefault(minus, []).append((plus, _emf(p)))
            steps.setdefault(plus, []).append((minus, -_emf(p)))
    volts: dict[int, float] = {}
    highest = 0.0
    for start in posts:
        if start in volts:
            continue
        volts[start] = 0.0
        group, todo = [start], [start]
        while todo:
            here = todo.pop()
            for there, up in steps.get(here, ()):
                if there not in volts:
                    volts[there] = volts[here] + up
                    group.append(there)
                    todo.append(there)
        highest = max(highest, max(volts[n] for n in group) - min(volts[n] for n in group))
    if 0.0 < highest < 9.0:
        return 6.0
    return CELL_BLOCK_V * max(round(highest / FULL_V), 1)


@lru_cache(maxsize=64)
def returning(circuit: Circuit) -> tuple[str, ...]:
    """Batteries whose minus post is not the plus post of another: what they deliver comes back from the
    vehicle, while that of a battery on top of another in series has been counted below it."""
    w = wiring(circuit)
    joined: dict[int, set[int]] = {}
    for a, b in _leads(circuit):
        joined.setdefault(a, set()).add(b)
        joined.setdefault(b, set()).add(a)
    cells = [p for p in circuit.parts if p.kind == "battery"]
    plus = {w.node(Term(p.name, "+")) for p in cells}

    def on_top(start: int | None) -> bool:
        seen, todo = {start}, [start]
        while todo:
            here = todo.pop()
            if here in plus:
                return True
            fresh = joined.get(here, set()) - seen if here is not None else set()
            seen |= fresh
            todo += fresh
        return False

    return tuple(p.name for p in cells if not on_top(w.node(Term(p.name, "-")))) or tuple(
        p.name for p in cells
    )


WANTS = {  # what a 12 V vehicle's usual part is taken to be, and what to write instead in one of 24 V
    "relay": ("pull_v", "coil 300 ohm pulls 16 V drops 5 V"),
    "starter": ("pull_v", "pulls 16 V drops 6 V"),
    "lamp": ("rated_v", "24 V 21 W"),
    "motor": ("run_v", "runs 5 A at 26 V"),
    "heater": ("rated_v", "24 V 200 W"),
}


def misfits(circuit: Circuit) -> Iterator[Problem]:
    """Parts that say nothing of their volts in a vehicle that has not 12: they have the defaults of one."""
    volts = nominal_v(circuit)
    if volts == CELL_BLOCK_V:
        return
    for p in circuit.parts:
        name, write = WANTS.get(p.kind, ("", ""))
        if (
            name
            and p.said(name) is None
            and p.said("ohm") is None
            and any(a.name == name for a in table(p.kind))
        ):
            default = value(p, name)
            yield part_problem(
                circuit, p.name, "other-volts",
                f"{p.name} has the {name.removesuffix('_v')} volts of a 12 V vehicle ({default:g} V),"
                f" and this one has {volts:g} V",
                f"write what the part says, such as: {p.kind} {p.name} {write}", "note",
            )  # fmt: skip
