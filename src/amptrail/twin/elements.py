"""A circuit as a flat list of two-ended elements, each with its law, its numbers and its gate.

Laws: authorities/oracle/README.md (the neutral format's own text). Current counts a -> b; u = V(a) - V(b).
    res     p = (ohm, emf)                I = (u - emf) / ohm
    cell    p = (emf, ohm out, ohm in)    a = minus, b = plus; delivers behind one, takes behind the other
    oneway  p = (emf, ohm)                a = minus, b = plus; I = (emf + u) / ohm, never below zero
    lamp    p = (volts, watts)            filament
    motor   p = (stall ohm, break A, run A, run V)
    diode   p = (is, n)                   without its series resistance, which is an element of its own
    ref     p = (volts, ohm, limit)       a = supply, b = pin, c = module ground: V(b) - V(c) sets it
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from amptrail.circuit import tables
from amptrail.circuit.model import (
    BODY,
    BusPin,
    Circuit,
    Clamp,
    Driver,
    GroundPin,
    Input,
    Part,
    Reference,
    Supply,
    Term,
    key,
)
from amptrail.circuit.wiring import wiring
from amptrail.errors import ModelError, Problem

Law = Literal["res", "cell", "oneway", "lamp", "motor", "diode", "ref"]
FUSE_VOLTS = 0.09  # a blade fuse of unstated ohms drops 90 mV at its rating (common practice)
MIN_OHM = 1e-6
RHO = 0.0185  # ohm mm2 / m, copper as laid (the format's own text)
DIODE_RS, DIODE_IS, DIODE_N = 0.03, 5e-9, 1.5  # a body diode's numbers (the format's own text)
EXCITED_OHM = 0.2  # D+ of an excited alternator


@dataclass(frozen=True, slots=True)
class Gate:
    """What must hold for an element to be there: `what` of `name`, or its contrary."""

    what: Literal["closed", "armature", "whole", "on", "awake", "excited", "cranking"]
    name: tuple[str, ...]
    want: bool = True


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


def refuse(code: str, message: str) -> ModelError:
    return ModelError((Problem(code, message),))


class Bench:
    """Collects the elements of a circuit and numbers its nodes: metal first, then hubs and inner nodes."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.wiring = wiring(circuit)
        self.names: list[Term] = list(self.wiring.names)
        self.own: dict[tuple[str, str], int] = {}
        self.hubs: set[int] = set(range(len(self.names)))  # nodes with 1 GΩ to the reference
        self.out: list[Element] = []
        self.positions: dict[str, tuple[str, ...]] = {}

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

    def inner(self, name: Term) -> int:
        self.names.append(name)
        return len(self.names) - 1

    def add(self, branch: Term, law: Law, a: int, b: int, *p: float, gate: Gate | None = None) -> None:
        self.out.append(Element(branch, law, a, b, p, gate))

    def ohm(self, branch: Term, a: int, b: int, ohm: float, gate: Gate | None = None) -> None:
        self.add(branch, "res", a, b, max(ohm, MIN_OHM), 0.0, gate=gate)

    def diode(self, branch: Term, a: int, k: int, i_s: float, n: float, rs: float) -> None:
        """A junction behind its series resistance; the resistance carries the branch's name."""
        inside = self.inner(Term(branch.part, branch.name + "~"))
        self.ohm(branch, a, inside, rs)
        self.add(Term(branch.part, branch.name + "~"), "diode", inside, k, i_s, n)


def _ends(b: Bench, p: Part) -> tuple[Term, int, int]:
    return Term(p.name, ""), b.node(p.name, "in"), b.node(p.name, "out")


def wire_ohm(p: Part) -> float:
    """Resistance of a wire: as stated, else from section and length."""
    said = p.said("ohm")
    if isinstance(said, (int, float)):
        return float(said)
    return RHO * tables.number(p, "length_m") / tables.number(p, "area_mm2")


def fuse_ohm(p: Part) -> float:
    """Resistance of a fuse: as stated, else 90 mV at its rating."""
    said = tables.value(p, "ohm")
    return float(said) if isinstance(said, (int, float)) else FUSE_VOLTS / tables.number(p, "rating_a")


def _battery(b: Bench, p: Part) -> None:
    minus, plus = b.node(p.name, "-"), b.node(p.name, "+")
    numbers = (tables.number(p, x) for x in ("emf_v", "inner_ohm", "charge_ohm"))
    b.add(Term(p.name, ""), "cell", minus, plus, *numbers)
    crank = tables.value(p, "crank_ohm")
    if isinstance(crank, (int, float)):
        b.ohm(Term(p.name, "crank"), plus, minus, float(crank), Gate("cranking", ()))


def _alternator(b: Bench, p: Part) -> None:
    ground, plus = b.node(p.name, "31"), b.node(p.name, "B+")
    emf, inner = tables.number(p, "emf_v"), tables.number(p, "inner_ohm")
    excited = Gate("excited", (p.name,))
    b.add(Term(p.name, ""), "oneway", ground, plus, emf, inner, gate=excited)
    if b.wiring.node(Term(p.name, "D+")) is not None:
        lamp_side = b.node(p.name, "D+")
        b.ohm(Term(p.name, "field"), lamp_side, ground, tables.number(p, "field_ohm"))
        b.add(Term(p.name, "D+"), "oneway", ground, lamp_side, emf, EXCITED_OHM, gate=excited)


def _relay(b: Bench, p: Part) -> None:
    c1, c2, com = (b.node(p.name, t) for t in ("86", "85", "30"))
    b.ohm(Term(p.name, "coil"), c1, c2, tables.number(p, "coil_ohm"))
    quench = tables.value(p, "suppressed")
    if quench == "diode":
        b.diode(Term(p.name, "quench"), c2, c1, DIODE_IS, DIODE_N, DIODE_RS)
    elif quench == "resistor":
        raise refuse("twin-law", f"relay {p.name}: the twin has no law for a resistor across the coil")
    contact = tables.number(p, "contact_ohm")
    for terminal, want in (("87", True), ("87a", False)):
        if b.wiring.node(Term(p.name, terminal)) is not None:
            b.ohm(
                Term(p.name, terminal),
                com,
                b.node(p.name, terminal),
                contact,
                Gate("armature", (p.name,), want),
            )


def _legs(b: Bench, name: str) -> list[str]:
    """The legs of a splice or ground that anything is joined to."""
    return sorted((t for part, t in b.wiring.node_of if part == key(name) and t.isdigit()), key=int)


def _star(b: Bench, p: Part) -> None:
    ground = p.kind == "ground"
    hub = b.node(p.name, "hub")
    leg_ohm = tables.number(p, "leg_ohm" if ground else "ohm")
    for leg in _legs(b, p.name):
        b.ohm(Term(p.name, leg), b.node(p.name, leg), hub, leg_ohm)
    if ground:
        to = p.said("to")
        metal = b.node("", str(to)) if to else b.node(BODY.part, BODY.name)
        b.ohm(Term(p.name, ""), hub, metal, tables.number(p, "ohm"))


def _switch(b: Bench, p: Part) -> None:
    ohm = tables.number(p, "ohm")
    if not p.contacts:
        b.ohm(*_ends(b, p), ohm, Gate("closed", (p.name,)))
    for contact in p.contacts:
        name = f"{contact.a}-{contact.b}"
        ends = (b.node(p.name, contact.a), b.node(p.name, contact.b))
        b.ohm(Term(p.name, name), *ends, ohm, Gate("closed", (p.name, name)))


def _cavities(b: Bench, p: Part) -> None:
    for c in b.circuit.cavities:
        if key(c.connector) == key(p.name):
            ends = (b.node(c.connector, f"{c.name}.a"), b.node(c.connector, f"{c.name}.b"))
            b.ohm(Term(c.connector, c.name), *ends, c.ohm if c.ohm is not None else tables.number(p, "ohm"))


def _resistance(b: Bench, p: Part) -> None:
    if p.kind == "sensor" and b.wiring.node(Term(p.name, "3")) is not None:
        raise refuse("twin-law", f"sensor {p.name}: the twin has no law for a three-wire sensor")
    b.ohm(*_ends(b, p), tables.number(p, "ohm"))


def _heater(b: Bench, p: Part) -> None:
    said = tables.value(p, "ohm")
    rated = tables.number(p, "rated_v") ** 2 / tables.number(p, "rated_w")
    b.ohm(*_ends(b, p), float(said) if isinstance(said, (int, float)) else rated)


def _motor(b: Bench, p: Part) -> None:
    b.add(*_ends(b, p)[:1], "motor", *_ends(b, p)[1:], *_all(p, "stall_ohm", "break_a", "run_a", "run_v"))


def _all(p: Part, *names: str) -> tuple[float, ...]:
    return tuple(tables.number(p, n) for n in names)


def _lamp(b: Bench, p: Part) -> None:
    branch, a, k = _ends(b, p)
    b.add(branch, "lamp", a, k, *_all(p, "rated_v", "rated_w"))


def _fuse(b: Bench, p: Part) -> None:
    b.ohm(*_ends(b, p), fuse_ohm(p), Gate("whole", (p.name,)))


def _module(b: Bench, p: Part) -> None:
    lines = [x for x in b.circuit.modules if key(x.module) == key(p.name)]
    ground = next((b.node(p.name, x.pin) for x in lines if isinstance(x, GroundPin)), None)
    if ground is None:
        if lines:
            raise refuse("no-ground", f"module {p.name} has no ground pin")
        return
    feeds = [b.node(p.name, x.pin) for x in lines if isinstance(x, Supply)]
    first = feeds[0] if feeds else ground
    for x in lines:
        _module_line(b, x, ground, first)


def _module_line(b: Bench, x: object, ground: int, first: int) -> None:
    """One supply, input, driver, reference … of a module whose ground and first supply nodes are given."""
    match x:
        case Supply():
            gate = Gate("awake", (x.module,))
            p, rest = (x.awake_ohm, 0.0), (x.asleep_ohm, 0.0)
            b.out.append(
                Element(Term(x.module, x.pin), "res", b.node(x.module, x.pin), ground, p, gate, rest)
            )
        case Input():
            _pull(b, x, ground, first)
        case Driver():
            _driver(b, x, ground, first)
        case Reference():
            p3 = (x.volts, x.ohm, x.limit_a)
            gate = Gate("awake", (x.module,))
            pin = b.node(x.module, x.pin)
            b.out.append(Element(Term(x.module, x.pin), "ref", first, pin, p3, gate, None, ground))
        case Clamp():
            pin = b.node(x.module, x.pin)
            if x.to_ground:
                b.diode(Term(x.module, f"{x.pin}.low"), ground, pin, DIODE_IS, DIODE_N, DIODE_RS)
            if x.to_supply:
                up = b.node(x.module, x.to_supply)
                b.diode(Term(x.module, f"{x.pin}.high"), pin, up, DIODE_IS, DIODE_N, DIODE_RS)
        case BusPin():
            if x.ohm is not None:
                p, rest = (x.ohm, x.volts or 0.0), (x.ohm, 0.0)
                pin, gate = b.node(x.module, x.pin), Gate("awake", (x.module,))
                b.out.append(Element(Term(x.module, x.pin), "res", pin, ground, p, gate, rest))
        case _:
            pass


def _pull(b: Bench, x: Input, ground: int, first: int) -> None:
    if x.pull is None or x.ohm is None:
        return
    branch, pin = Term(x.module, x.pin), b.node(x.module, x.pin)
    if x.pull == "supply":
        b.ohm(branch, pin, b.node(x.module, x.pull_from) if x.pull_from else first, x.ohm)
    elif x.pull == "ground":
        b.ohm(branch, pin, ground, x.ohm)
    else:
        gate, p = Gate("awake", (x.module,)), (x.ohm, x.pull_v or 0.0)
        b.out.append(Element(branch, "res", pin, ground, p, gate, (x.ohm, 0.0)))


def _driver(b: Bench, x: Driver, ground: int, first: int) -> None:
    if x.side == "half" or x.duty is not None:
        raise refuse("twin-law", f"{x.module}.{x.name}: the twin has no law for a half bridge or a duty")
    feed = b.node(x.module, x.feed) if x.feed else first
    pin = b.node(x.module, x.pin)
    a, k = (pin, ground) if x.side == "low" else (feed, pin)
    rest = (x.leak_ohm, 0.0) if x.leak_ohm is not None else None
    on = (max(x.on_ohm if x.on_ohm is not None else 0.1, MIN_OHM), 0.0)
    b.out.append(Element(Term(x.module, x.pin), "res", a, k, on, Gate("on", (x.module, x.name)), rest))
    if x.body_diode:
        b.diode(Term(x.module, f"{x.pin}.bd"), k, a, DIODE_IS, DIODE_N, DIODE_RS)


def _led(b: Bench, p: Part) -> None:
    raise refuse("twin-law", f"{p.kind} {p.name}: the twin has no law for this kind")


def _two(b: Bench, p: Part) -> None:
    branch, a, k = _ends(b, p)
    if p.kind == "wire":
        b.ohm(branch, a, k, wire_ohm(p))
    else:
        b.diode(branch, a, k, *_all(p, "is_a", "n", "rs_ohm"))


MAKERS: dict[str, Callable[[Bench, Part], None]] = {
    "battery": _battery, "alternator": _alternator, "relay": _relay, "splice": _star, "ground": _star,
    "switch": _switch, "connector": _cavities, "box": _cavities, "motor": _motor, "lamp": _lamp,
    "fuse": _fuse, "link": _fuse, "module": _module, "wire": _two, "diode": _two,
    "joint": _resistance, "heater": _heater, "resistor": _resistance,
    "solenoid": _resistance, "sensor": _resistance,
}  # fmt: skip


def bench(circuit: Circuit) -> Bench:
    """The elements and nodes of the healthy circuit."""
    b = Bench(circuit)
    for p in circuit.parts:
        MAKERS.get(p.kind, _led)(b, p)
    return b


def elements(circuit: Circuit) -> list[Element]:
    """The elements of the healthy circuit, in the order of its parts."""
    return bench(circuit).out
