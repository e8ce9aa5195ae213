"""A circuit as a flat list of two-ended elements, each with its law, its numbers and its gate.

Current counts a -> b; u = V(a) - V(b).
    res     p = (ohm, emf)                I = (u - emf) / ohm
    cell    p = (emf, ohm out, ohm in)    a = minus, b = plus; delivers behind one, takes behind the other
    oneway  p = (emf, ohm)                a = minus, b = plus; I = (emf + u) / ohm, never below zero
    lamp    p = (volts, watts)            filament
    motor   p = (stall ohm, break A, run A, run V)
    diode   p = (is, n)                   without its series resistance, which is an element of its own
    sat     p = (ohm, A)                  a resistance up to that current, then that current
    ref     p = (volts, ohm, limit)       a = supply, b = pin, c = module ground: V(b) - V(c) sets it
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.errors import ModelError, Problem
from amptrail.twin.laws import Law

MIN_OHM = 1e-6
JUNCTION, SERIES = " junction", " series"  # pieces inside a branch; no name of a sheet ends so
DIODE_RS, DIODE_IS, DIODE_N = 0.03, 5e-9, 1.5  # a diode of unstated numbers (the format's own text)


@dataclass(frozen=True, slots=True)
class Gate:
    """What must hold for an element to be there: `what` of `name`, or its contrary.

    closed: a switch (part, contact); armature: a relay or starter; whole: a fuse; on: a driver; awake: a
    module; low-half: the lower half of a half bridge; excited: an alternator; cranking: the phase;
    never: cut.
    """

    what: Literal["closed", "armature", "whole", "on", "low-half", "awake", "excited", "cranking", "never"]
    name: tuple[str, ...]
    want: bool = True


NEVER = Gate("never", ())


@dataclass(frozen=True, slots=True)
class Element:
    """One element. `rest` are the numbers while the gate does not hold; None: it is not there then."""

    branch: Term
    law: Law
    a: int
    b: int
    p: tuple[float, ...]
    gate: Gate | None = None
    rest: tuple[float, ...] | None = None
    c: int = -1


def refuse(code: str, message: str, remedy: str = "") -> ModelError:
    """An error about a circuit or fault that cannot be computed."""
    return ModelError((Problem(code, message, remedy=remedy),))


class Bench:
    """Collects the elements of a circuit and numbers its nodes: metal first, then hubs and inner nodes."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.wiring = wiring(circuit)
        self.names: list[Term] = list(self.wiring.names)
        self.own: dict[tuple[str, str], int] = {}
        self.hubs: set[int] = set(range(len(self.names)))  # nodes with 1 GΩ to the reference
        self.out: list[Element] = []
        self.alias: dict[tuple[str, str], Term] = {}  # other words for a branch

    def node(self, part: str, name: str) -> int:
        """The node of a terminal; one that nothing is joined to gets a node of its own."""
        found = self.wiring.node(Term(part, name))
        if found is not None:
            return found
        k = (key(part), key(name))
        if k not in self.own:
            self.own[k] = self.inner(Term(part, name))
            self.hubs.add(self.own[k])
        return self.own[k]

    def known(self, part: str, name: str) -> int | None:
        """The node of a terminal, None when there is none."""
        found = self.wiring.node(Term(part, name))
        return found if found is not None else self.own.get((key(part), key(name)))

    def joined(self, part: str, name: str) -> bool:
        """Whether the sheet joins anything to the terminal."""
        return self.wiring.node(Term(part, name)) is not None

    def inner(self, name: Term) -> int:
        """A node nobody can touch."""
        self.names.append(name)
        return len(self.names) - 1

    def hidden(self, name: str) -> int:
        """A node nobody can touch, one of each name."""
        k = ("", name)
        if k not in self.own:
            self.own[k] = self.inner(Term(*k))
        return self.own[k]

    def put(self, e: Element, *alias: str) -> None:
        """Add an element; `alias` are other names of its branch."""
        self.out.append(e)
        for other in alias:
            self.alias.setdefault((key(e.branch.part), key(other)), e.branch)

    def add(self, branch: Term, law: Law, a: int, b: int, *p: float, gate: Gate | None = None) -> None:
        self.put(Element(branch, law, a, b, p, gate))

    def ohm(self, branch: Term, a: int, b: int, ohm: float, gate: Gate | None = None, *alias: str) -> None:
        self.put(Element(branch, "res", a, b, (max(ohm, MIN_OHM), 0.0), gate), *alias)

    def diode(self, branch: Term, a: int, k: int, i_s: float, n: float, rs: float, *alias: str) -> None:
        """A junction behind its series resistance, which carries the branch's name if there is any."""
        if rs <= 0:
            self.put(Element(branch, "diode", a, k, (i_s, n)), *alias)
            return
        inside = self.inner(Term(branch.part, branch.name + JUNCTION))
        self.ohm(branch, a, inside, rs, None, *alias)
        self.add(Term(branch.part, branch.name + JUNCTION), "diode", inside, k, i_s, n)
