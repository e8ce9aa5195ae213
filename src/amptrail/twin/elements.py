"""Every kind of part as elements. Laws and defaults: `circuit/parts/*.csv`; the neutral format's own text."""

from __future__ import annotations

import math
from collections.abc import Callable

from amptrail.circuit import tables
from amptrail.circuit.model import BODY, Circuit, Part, PartKind, Term, key
from amptrail.reference.fuse import cold_ohm
from amptrail.twin.bench import DIODE_IS, DIODE_N, DIODE_RS, Bench, Element, Gate, refuse
from amptrail.twin.laws import V_T
from amptrail.twin.modules import module

RHO = 0.0185  # ohm mm2 / m, copper as laid (the format's own text)
EXCITED_OHM = 0.2  # D+ of an excited alternator (the format's own text)
QUENCH_OHM = 680.0  # resistor across a relay coil (common practice)
LED_A, LED_N = 0.01, 2.0  # where an LED has its forward voltage (common practice)
LED_V = 4.0  # one junction has no more; a strip has several in series (the same)
POT_LEAST_OHM = 1.0  # what is left of a track at its end (common practice)
UNLOADED = 0.4  # of the running current: break-away of a motor too small for the table's (common practice)


def _ends(b: Bench, p: Part) -> tuple[Term, int, int]:
    return Term(p.name, ""), b.node(p.name, "in"), b.node(p.name, "out")


def _all(p: Part, *names: str) -> tuple[float, ...]:
    return tuple(tables.number(p, n) for n in names)


def _stated(p: Part, name: str) -> float | None:
    said = tables.value(p, name)
    return float(said) if isinstance(said, (int, float)) else None


def wire_ohm(p: Part) -> float:
    """Resistance of a wire, ohm: as stated, else from section and length."""
    said = _stated(p, "ohm")
    return said if said is not None else RHO * tables.number(p, "length_m") / tables.number(p, "area_mm2")


def fuse_ohm(p: Part) -> float:
    """Resistance of a fuse, ohm: as stated, else cold by the table of its rating."""
    said = _stated(p, "ohm")
    return said if said is not None else cold_ohm(tables.number(p, "rating_a"))


def _battery(b: Bench, p: Part) -> None:
    minus, plus = b.node(p.name, "-"), b.node(p.name, "+")
    b.add(Term(p.name, ""), "cell", minus, plus, *_all(p, "emf_v", "inner_ohm", "charge_ohm"))
    crank = _stated(p, "crank_ohm")
    if crank is not None:
        b.ohm(Term(p.name, "crank"), plus, minus, crank, Gate("cranking", (p.name,)))


def _alternator(b: Bench, p: Part) -> None:
    ground, plus = b.node(p.name, "31"), b.node(p.name, "B+")
    emf, inner = _all(p, "emf_v", "inner_ohm")
    excited = Gate("excited", (p.name,))
    b.add(Term(p.name, ""), "oneway", ground, plus, emf, inner, gate=excited)
    if b.joined(p.name, "D+"):
        lamp_side = b.node(p.name, "D+")
        b.ohm(Term(p.name, "field"), lamp_side, ground, tables.number(p, "field_ohm"))
        b.add(Term(p.name, "D+"), "oneway", ground, lamp_side, emf, EXCITED_OHM, gate=excited)


def _relay(b: Bench, p: Part) -> None:
    c1, c2, com = (b.node(p.name, t) for t in ("86", "85", "30"))
    b.ohm(Term(p.name, "coil"), c1, c2, tables.number(p, "coil_ohm"))
    quench = tables.value(p, "suppressed")
    if quench == "diode":
        b.diode(Term(p.name, "diode"), c2, c1, DIODE_IS, DIODE_N, DIODE_RS)
    elif quench == "resistor":
        b.ohm(Term(p.name, "resistor"), c1, c2, QUENCH_OHM)
    contact = tables.number(p, "contact_ohm")
    for terminal, want in (("87", True), ("87a", False)):
        if b.joined(p.name, terminal):
            made = Gate("armature", (p.name,), want)
            b.ohm(Term(p.name, terminal), com, b.node(p.name, terminal), contact, made)


def _starter(b: Bench, p: Part) -> None:
    """Hold-in winding 50 to ground; pull-in winding 50 to the motor until the main contact bridges it."""
    s50, s30, s31, m = (b.node(p.name, t) for t in ("50", "30", "31", "M"))
    pull, hold, contact, motor = _all(p, "pull_ohm", "hold_ohm", "contact_ohm", "motor_ohm")
    b.ohm(Term(p.name, "coil"), s50, s31, hold)
    b.ohm(Term(p.name, "pull"), s50, m, pull, Gate("armature", (p.name,), False))
    b.ohm(Term(p.name, "contact"), s30, m, contact, Gate("armature", (p.name,)))
    b.ohm(Term(p.name, ""), m, s31, motor)


def _legs(b: Bench, name: str) -> list[str]:
    """The legs of a splice or ground that anything is joined to."""
    return sorted((t for part, t in b.wiring.node_of if part == key(name) and t.isdigit()), key=int)


def _star(b: Bench, p: Part) -> None:
    ground = p.kind == "ground"
    hub = b.node(p.name, "")
    leg_ohm = tables.number(p, "leg_ohm" if ground else "ohm")
    for leg in _legs(b, p.name):
        b.ohm(Term(p.name, leg), b.node(p.name, leg), hub, leg_ohm)
    if ground:
        part, dot, name = str(p.said("to") or BODY.name).partition(".")
        metal = b.node(part, name) if dot else b.node("", part)
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
            ends = (b.node(p.name, f"{c.name}.a"), b.node(p.name, f"{c.name}.b"))
            b.ohm(Term(p.name, c.name), *ends, c.ohm if c.ohm is not None else tables.number(p, "ohm"))


def _resistance(b: Bench, p: Part) -> None:
    if p.kind == "sensor" and b.joined(p.name, "3"):
        _track(b, p, 0.5)
    else:
        b.ohm(*_ends(b, p), tables.number(p, "ohm"))


def _pot(b: Bench, p: Part) -> None:
    _track(b, p, tables.number(p, "position"))


def _track(b: Bench, p: Part, position: float) -> None:
    """A track 1 to 3 with its wiper 2 that far from 1."""
    ohm = tables.number(p, "ohm")
    one, wiper, three = (b.node(p.name, t) for t in "123")
    b.ohm(Term(p.name, "1"), one, wiper, max(ohm * position, POT_LEAST_OHM))
    b.ohm(Term(p.name, "3"), wiper, three, max(ohm * (1 - position), POT_LEAST_OHM))


def _heater(b: Bench, p: Part) -> None:
    said = _stated(p, "ohm")
    rated = tables.number(p, "rated_v") ** 2 / tables.number(p, "rated_w")
    b.ohm(*_ends(b, p), said if said is not None else rated)


def _motor(b: Bench, p: Part) -> None:
    stall, breaks, runs, rated = _all(p, "stall_ohm", "break_a", "run_a", "run_v")
    if runs < breaks and p.said("break_a") is None:
        breaks = UNLOADED * runs
    if runs < breaks or rated < stall * breaks:
        raise refuse(
            "falling-law",
            f"motor {p.name}: its running current may not be below its break-away current",
            "State breaks and runs so that current rises.",
        )
    branch, a, z = _ends(b, p)
    b.add(branch, "motor", a, z, stall, breaks, runs, rated)


def _lamp(b: Bench, p: Part) -> None:
    branch, a, k = _ends(b, p)
    b.add(branch, "lamp", a, k, *_all(p, "rated_v", "rated_w"))


def _led(b: Bench, p: Part) -> None:
    forward_v = tables.number(p, "forward_v")
    n = LED_N * max(1, math.ceil(forward_v / LED_V))
    b.diode(*_ends(b, p), LED_A / math.exp(forward_v / (n * V_T)), n, tables.number(p, "ohm"))


def _limited(b: Bench, p: Part) -> None:
    """PTC, polymer fuse, electronic load: a resistance up to a current, then that current."""
    branch, a, k = _ends(b, p)
    if p.kind == "load":
        most, above = _all(p, "amps", "min_v")
        ohm = max(above, 1e-3) / most
    else:
        ohm, most = _all(p, *(("cold_ohm", "limit_a") if p.kind == "ptc" else ("ohm", "trip_a")))
    b.add(branch, "sat", a, k, ohm, most)


def _fuse(b: Bench, p: Part) -> None:
    b.ohm(*_ends(b, p), fuse_ohm(p), Gate("whole", (p.name,)))


def _two(b: Bench, p: Part) -> None:
    branch, a, k = _ends(b, p)
    if p.kind == "wire":
        b.ohm(branch, a, k, wire_ohm(p))
    else:
        i_s, n, rs = _all(p, "is_a", "n", "rs_ohm")
        b.diode(branch, a, k, i_s, n, rs)


MAKERS: dict[PartKind, Callable[[Bench, Part], None]] = {
    "battery": _battery, "alternator": _alternator, "relay": _relay, "starter": _starter, "splice": _star,
    "ground": _star, "switch": _switch, "connector": _cavities, "box": _cavities, "motor": _motor,
    "lamp": _lamp, "led": _led, "fuse": _fuse, "link": _fuse, "polyfuse": _limited, "ptc": _limited,
    "load": _limited, "module": module, "wire": _two, "diode": _two, "joint": _resistance,
    "heater": _heater, "resistor": _resistance, "solenoid": _resistance, "sensor": _resistance, "pot": _pot,
}  # fmt: skip


def bench(circuit: Circuit) -> Bench:
    """The elements and nodes of the healthy circuit."""
    b = Bench(circuit)
    for p in circuit.parts:
        MAKERS[p.kind](b, p)
    return b


def elements(circuit: Circuit) -> list[Element]:
    """The elements of the healthy circuit, in the order of its parts."""
    return bench(circuit).out
