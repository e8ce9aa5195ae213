"""Which terminals a circuit has, what flows inside its parts, and which side of a symbol each is on."""

from __future__ import annotations

from collections.abc import Iterable

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

INSIDE: dict[str, tuple[tuple[str, str], ...]] = {
    "relay": (("86", "85"), ("30", "87"), ("30", "87a")),
    "alternator": (("B+", "31"), ("D+", "31")),
    "starter": (("30", "31"), ("50", "31"), ("M", "31")),
    "pot": (("1", "2"), ("2", "3"), ("1", "3")),
}  # pairs of terminals a current passes between
LOADS = frozenset(
    ("lamp", "led", "motor", "starter", "solenoid", "heater", "ptc", "pot", "sensor", "load", "resistor",
     "alternator")
)  # fmt: skip


def steps(part: Part, a: str) -> float:
    """How far down a current falls between two terminals: 100 across a load, 1 across anything that conducts.

    Only the order of heights matters to the drawing, so these are no ohms of any real part."""
    coil = part.kind == "relay" and key(a) in ("85", "86")
    return 100.0 if part.kind in LOADS or coil else 1.0


def mentioned(circuit: Circuit) -> dict[str, list[str]]:
    """Terminals of each part (by key) that a path or net names, in order of first mention."""
    found: dict[str, dict[str, str]] = {}

    def add(part: str, name: str) -> None:
        if part:
            found.setdefault(key(part), {}).setdefault(key(name), name)

    for path in circuit.paths:
        for hop in path.hops:
            add(hop.part, hop.a)
            add(hop.part, hop.b)
    for net in circuit.nets:
        for term in net.terms:
            add(term.part, term.name)
    return {part: list(names.values()) for part, names in found.items()}


class Metals:
    """Net numbers by terminal; an unwired terminal gets a net of its own the first time it is asked for."""

    def __init__(self, circuit: Circuit) -> None:
        self._wiring = wiring(circuit)
        self.names = [str(t) for t in self._wiring.names]
        self._own: dict[tuple[str, str], int] = {}
        self.body = self.of(BODY)

    def of(self, term: Term) -> int:
        """The net of a terminal."""
        node = self._wiring.node(term)
        if node is not None:
            return node
        own = (key(term.part), key(term.name))
        if own not in self._own:
            self._own[own] = self.more(str(term) if term.name else term.part)
        return self._own[own]

    def more(self, name: str) -> int:
        """A new net of that name."""
        self.names.append(name)
        return len(self.names) - 1


def ground_net(circuit: Circuit, metals: Metals, part: Part) -> int:
    """What a ground part is bolted to: the body, or the net its `to` names."""
    to = part.said("to")
    if isinstance(to, str) and to:
        bits = to.split(".", 1)
        return metals.of(Term(bits[0], bits[1]) if len(bits) == 2 else Term("", to))
    return metals.body


def module_pairs(circuit: Circuit) -> dict[str, list[tuple[str, str, float]]]:
    """Per module (by key) the pairs of pins a current passes between, upper first, and how far it falls."""
    ground: dict[str, str] = {}
    supply: dict[str, str] = {}
    for line in circuit.modules:
        if isinstance(line, GroundPin):
            ground.setdefault(key(line.module), line.pin)
        elif isinstance(line, Supply):
            supply.setdefault(key(line.module), line.pin)
    out: dict[str, list[tuple[str, str, float]]] = {}
    for line in circuit.modules:
        m = key(line.module)
        plus, minus = supply.get(m), ground.get(m)
        pairs = out.setdefault(m, [])
        if isinstance(line, Driver):
            feed = line.feed or plus
            if line.side != "low" and feed:
                pairs.append((feed, line.pin, 1.0))
            if line.side != "high" and minus:
                pairs.append((line.pin, minus, 1.0))
        elif isinstance(line, Input) and line.pull in ("supply", "volts"):
            if line.pull_from or plus:
                pairs.append((line.pull_from or plus or "", line.pin, 100.0))
        elif isinstance(line, Reference):
            if plus:
                pairs.append((plus, line.pin, 1.0))
        elif isinstance(line, (Supply, Input, Clamp, BusPin)) and minus:
            pairs.append((line.pin, minus, 100.0))
    return out


def roles(circuit: Circuit) -> dict[tuple[str, str], list[str]]:
    """(module, pin) by key -> what the pin is: ground, supply, input, low, high, half, reference, bus."""
    out: dict[tuple[str, str], list[str]] = {}
    for line in circuit.modules:
        role = (
            line.side if isinstance(line, Driver)
            else "ground" if isinstance(line, GroundPin)
            else "supply" if isinstance(line, Supply)
            else "input" if isinstance(line, Input)
            else "reference" if isinstance(line, Reference)
            else "bus" if isinstance(line, BusPin)
            else ""
        )  # fmt: skip
        if role and not isinstance(line, (Clamp,)) and hasattr(line, "pin"):
            out.setdefault((key(line.module), key(line.pin)), []).append(role)
    return out


def pairs_of(
    part: Part, terminals: Iterable[str], of_module: dict[str, list[tuple[str, str, float]]]
) -> list[tuple[str, str, float]]:
    """Pairs of wired terminals of a part between which a current passes, and how far it falls."""
    wired = {key(t) for t in terminals}
    if part.kind == "module":
        given = of_module.get(key(part.name), [])
    elif part.kind == "switch" and part.contacts:
        given = [(c.a, c.b, 1.0) for c in part.contacts]
    else:
        given = [(a, b, steps(part, a)) for a, b in INSIDE.get(part.kind, (("in", "out"),))]
    return [x for x in given if key(x[0]) in wired and key(x[1]) in wired]
