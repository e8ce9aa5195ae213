"""The lines of a module as elements: supplies, pulls, drivers, references, clamps, bus pins."""

from __future__ import annotations

from amptrail.circuit.model import (
    BODY,
    BusPin,
    Clamp,
    Driver,
    GroundPin,
    Input,
    ModuleLine,
    Part,
    Reference,
    Supply,
    Term,
    key,
)
from amptrail.circuit.module_defaults import BUS_OHM, BUS_V, LEAK_OHM, ON_OHM, PULL_OHM, supply_ohms
from amptrail.twin.bench import DIODE_IS, DIODE_N, DIODE_RS, MIN_OHM, Bench, Element, Gate

GROUNDS_OHM = 0.001  # between two ground pins, inside the housing (common practice)


def module(b: Bench, p: Part) -> None:
    """Every line of a module: supplies, inputs, drivers last, so that a pin of several lines is named by its
    supply first, then by its input."""
    lines = [x for x in b.circuit.modules if key(x.module) == key(p.name)]
    pins = [x.pin for x in lines if isinstance(x, GroundPin)]
    ground = b.node(p.name, pins[0]) if pins else b.node(BODY.part, BODY.name)
    for pin in pins[1:]:
        b.ohm(Term(p.name, pin), b.node(p.name, pin), ground, GROUNDS_OHM)
    feeds = [b.node(p.name, x.pin) for x in lines if isinstance(x, Supply)]
    first = feeds[0] if feeds else ground
    for i, s in enumerate(x for x in lines if isinstance(x, Supply)):
        numbers = ((max(ohm, MIN_OHM), 0.0) for ohm in supply_ohms(s))
        branch, gate = Term(p.name, s.pin), Gate("awake", (p.name,))
        awake, asleep = numbers
        b.put(Element(branch, "res", feeds[i], ground, awake, gate, asleep), f"sup{i}")
    for x in lines:
        if isinstance(x, Input):
            _pull(b, p.name, x, ground, first)
    for x in lines:
        _other(b, p.name, x, ground, first)
    for x in lines:
        if isinstance(x, Driver):
            _driver(b, p.name, x, ground, first)


def _other(b: Bench, m: str, x: ModuleLine, ground: int, first: int) -> None:
    """References, clamp diodes and bus pins of module `m` with its ground and first supply nodes."""
    awake = Gate("awake", (m,))
    match x:
        case Reference():
            p3 = (x.volts, max(x.ohm, MIN_OHM), x.limit_a)
            pin = b.node(m, x.pin)
            b.put(
                Element(Term(m, x.pin), "ref", first, pin, p3, awake, None, ground), x.name, f"ref.{x.name}"
            )
        case Clamp():
            pin = b.node(m, x.pin)
            if x.to_supply:
                up = b.node(m, x.to_supply)
                b.diode(Term(m, f"{x.pin}.up"), pin, up, DIODE_IS, DIODE_N, DIODE_RS)
            if x.to_ground:
                b.diode(Term(m, f"{x.pin}.down"), ground, pin, DIODE_IS, DIODE_N, DIODE_RS)
        case BusPin():
            ohm = max(x.ohm if x.ohm is not None else BUS_OHM, MIN_OHM)
            volts = x.volts if x.volts is not None else BUS_V
            b.put(Element(Term(m, x.pin), "res", b.node(m, x.pin), ground, (ohm, volts), awake, (ohm, 0.0)))
        case _:
            pass


def _pull(b: Bench, m: str, x: Input, ground: int, first: int) -> None:
    if x.pull is None:
        return
    branch, pin = Term(m, x.pin), b.node(m, x.pin)
    ohm = max(x.ohm if x.ohm is not None else PULL_OHM, MIN_OHM)
    other = (x.name, f"in.{x.name}")
    if x.pull == "supply":
        b.ohm(branch, pin, b.node(m, x.pull_from) if x.pull_from else first, ohm, None, *other)
    elif x.pull == "ground":
        b.ohm(branch, pin, ground, ohm, None, *other)
    else:
        p = (ohm, x.pull_v or 0.0)
        b.put(Element(branch, "res", pin, ground, p, Gate("awake", (m,)), (ohm, 0.0)), *other)


def _driver(b: Bench, m: str, x: Driver, ground: int, first: int) -> None:
    """On, a driver conducts; off, it leaks. A pulsed one does so by turns (`state.pulses`)."""
    feed = b.node(m, x.feed) if x.feed else first
    pin = b.node(m, x.pin)
    a, k = (pin, ground) if x.side == "low" else (feed, pin)
    on = max(x.on_ohm if x.on_ohm is not None else ON_OHM, MIN_OHM)
    leak = (max(x.leak_ohm if x.leak_ohm is not None else LEAK_OHM, MIN_OHM), 0.0)
    me = Gate("on", (m, x.name))
    b.put(Element(Term(m, x.name), "res", a, k, (on, 0.0), me, leak), x.pin, f"drv.{x.name}")
    if x.side == "half":
        low = Gate("low-half", (m, x.name))
        b.put(Element(Term(m, f"{x.name}.low"), "res", pin, ground, (on, 0.0), low, leak))
    if x.body_diode:
        b.diode(Term(m, f"{x.name}.diode"), k, a, DIODE_IS, DIODE_N, 0.0, f"drv.{x.name}.bd", f"{x.name}.bd")
