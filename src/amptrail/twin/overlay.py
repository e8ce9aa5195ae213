"""Faults as changes to the list of elements, and to what parts may do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from amptrail.circuit.model import BODY, Circuit, Fault, Part, Term, key
from amptrail.errors import ModelError, Problem
from amptrail.twin.elements import MIN_OHM, Bench, Element, bench

Name = tuple[str, ...]


@dataclass
class Faulty:
    """The bench of a faulted circuit, and what is stuck, dead or driven. Names are keys."""

    bench: Bench
    stuck: dict[str, bool] = field(default_factory=dict)  # part -> armature or switch held on / off
    driven: dict[Name, bool] = field(default_factory=dict)  # (module, driver) -> always on / dead
    no_sleep: set[str] = field(default_factory=set)
    dead: set[str] = field(default_factory=set)

    @property
    def circuit(self) -> Circuit:
        return self.bench.circuit


def _same(a: Term, b: Term) -> bool:
    return key(a.part) == key(b.part) and key(a.name) == key(b.name)


def _aliases(circuit: Circuit, at: Term) -> Term:
    """A module branch may be told by its driver's or input's name instead of its pin."""
    for x in circuit.modules:
        named = getattr(x, "name", None)
        if named and hasattr(x, "pin") and key(x.module) == key(at.part) and key(named) == key(at.name):
            return Term(x.module, x.pin)
    return at


def find(b: Bench, at: Term) -> list[int]:
    """Positions of the elements that bear a branch name."""
    hits = [i for i, e in enumerate(b.out) if _same(e.branch, at)]
    if not hits:
        other = _aliases(b.circuit, at)
        hits = [i for i, e in enumerate(b.out) if _same(e.branch, other)]
    if not hits:
        raise ModelError((Problem("no-branch", f"there is no branch {at}"),))
    return hits


def _series(b: Bench, at: Term, ohm: float) -> None:
    """`ohm` at end a of the branch."""
    for i in find(b, at):
        e = b.out[i]
        inside = b.inner(Term(e.branch.part, e.branch.name + "+"))
        b.out[i] = replace(e, a=inside)
        b.out.append(
            Element(Term(e.branch.part, e.branch.name + "+"), "res", e.a, inside, (max(ohm, MIN_OHM), 0.0))
        )


def _node_of(b: Bench, t: Term) -> int:
    n = b.wiring.node(t)
    if n is None and t.name and t.name[-2:] not in (".a", ".b"):
        n = b.wiring.node(Term(t.part, f"{t.name}.a"))  # a cavity without a side means side a
    return n if n is not None else b.node(t.part, t.name)


def _plus(circuit: Circuit) -> Term:
    return next((Term(p.name, "+") for p in circuit.parts if p.kind == "battery"), Term("", "bat+"))


def _bridge(b: Bench, f: Fault) -> None:
    to = {"to_ground": BODY, "to_supply": _plus(b.circuit)}.get(f.mode) or f.to or BODY
    ohm = f.ohm if f.ohm is not None else 0.05
    b.out.append(
        Element(Term("", "bridge"), "res", _node_of(b, f.at), _node_of(b, to), (max(ohm, MIN_OHM), 0.0))
    )


def _with_value(circuit: Circuit, f: Fault) -> Circuit:
    """The circuit with one attribute of one part changed (fault `has`)."""

    def change(p: Part) -> Part:
        if key(p.name) != key(f.at.part):
            return p
        given = {k: v for k, v in p.given if k != f.attribute}
        return replace(p, given=tuple(sorted({**given, str(f.attribute): f.value or 0.0}.items())))

    return replace(circuit, parts=tuple(change(p) for p in circuit.parts))


def _one(out: Faulty, f: Fault) -> None:
    b, part = out.bench, key(f.at.part)
    match f.mode:
        case "open" | "missing":
            for i in sorted(find(b, f.at), reverse=True):
                del b.out[i]
        case "resistance":
            _series(b, f.at, f.ohm if f.ohm is not None else 1.0)
        case "to_ground" | "to_supply" | "to_point":
            _bridge(b, f)
        case "stuck_on" | "stuck_off":
            out.stuck[part] = f.mode == "stuck_on"
        case "dead" | "always_on":
            out.driven[(part, key(f.at.name))] = f.mode == "always_on"
        case "stays_awake":
            out.no_sleep.add(part)
        case "module_dead":
            out.dead.add(part)
        case "seized":
            for i in find(b, f.at):
                b.out[i] = replace(b.out[i], law="res", p=(b.out[i].p[0], 0.0))
        case "has":
            pass
        case _:
            raise ModelError((Problem("twin-fault", f"{f.at}: the twin has no fault {f.mode}"),))


def overlay(circuit: Circuit, faults: Iterable[Fault]) -> Faulty:
    """The bench of the circuit with every fault fitted; opens last, as they take elements away."""
    several = sorted(faults, key=lambda f: f.mode == "open")
    for f in several:
        if f.mode == "has":
            circuit = _with_value(circuit, f)
    out = Faulty(bench(circuit))
    for f in several:
        _one(out, f)
    return out
