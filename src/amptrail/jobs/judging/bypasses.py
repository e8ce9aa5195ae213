"""Bypasses worth trying: a relay's pins bridged through a fuse or a lamp, its coil grounded, a load fed
directly, a booster cable from engine to battery minus. Each is a feed in the words a readings file takes.

Never offered: anything of a refuse class, onto an output of a module other than a low-side coil driver, or
along a run marked as not to be probed. Sizes are common practice: 15 A for loads, 5 A for coils, 21 W lamp.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from amptrail.circuit.model import BODY, Circuit, Driver, Part, Term, key
from amptrail.circuit.supply import nominal_v
from amptrail.circuit.wiring import wiring
from amptrail.faults.metal import beyond_fuse, touching
from amptrail.feed.danger import BOOSTER_M, BOOSTER_MM2
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import UNTOUCHED, meter_only, never, runs
from amptrail.sheet.feeds import LAMP_V
from amptrail.sheet.words import term_text
from amptrail.units import exact

BRIDGE_FUSE_A, COIL_FUSE_A, LAMP_W = 15.0, 5.0, 21.0
BRIDGE_MIN, GROUND_MIN, FEED_MIN, BOOST_MIN, LAMP_MIN = 2.0, 3.0, 3.0, 3.0, 1.0
FED = ("motor", "lamp", "solenoid", "heater", "ptc", "load")  # loads a fused lead may feed
LAMP_UP_TO = 1.3  # a 12 V lamp in a lead bears the voltage of a 12 V vehicle only


@dataclass(frozen=True, slots=True)
class Bypass:
    """What is fitted (standing conditions), at which part, in how many minutes. `meter_at`: the point read
    while it is on; None: the function itself is tried. `how`: a key of WHY."""

    conditions: Conditions
    part: Part
    minutes: float
    how: str
    meter_at: Term | None = None


WHY = {
    "bridge": "with a fused bridge across it",
    "lamp-bridge": "with a lamp across it: a short behind it only lights the lamp",
    "fuse-lamp": "with a lamp in the place of the fuse: a short behind it only lights the lamp",
    "ground-coil": "with its coil grounded through a fuse",
    "feed-load": "with a fused lead straight to the load",
    "booster": "with a booster cable from engine to battery minus",
}


def _words(a: Term, b: Term, what: str) -> str:
    return f"from {term_text(a)} to {term_text(b)} {what}"


def _battery(circuit: Circuit) -> Part:
    return next(p for p in circuit.parts if p.kind == "battery")


def _refused(circuit: Circuit, name: str) -> bool:
    return any(key(r.part) == key(name) for r in circuit.refuses)


def across(circuit: Circuit, relay: Part) -> Iterator[Bypass]:
    """A fused bridge across the contact, in the socket; then a lamp there, and the volts it lets through."""
    a, b, out = Term(relay.name, "30"), Term(relay.name, "87"), (relay.name,)
    w = wiring(circuit)
    if w.node(a) is None or w.node(b) is None or never(circuit, a) or never(circuit, b):
        return
    fuse = _words(a, b, f"fuse {exact(BRIDGE_FUSE_A, 'A')}")
    yield Bypass(Conditions(out=out, feed=fuse), relay, BRIDGE_MIN, "bridge")
    if nominal_v(circuit) <= LAMP_V * LAMP_UP_TO:
        lamp = _words(a, b, f"lamp {exact(LAMP_W, 'W')}")
        yield Bypass(Conditions(out=out, feed=lamp), relay, BRIDGE_MIN, "lamp-bridge", meter_at=b)


def in_fuse_place(circuit: Circuit, fuse: Part) -> Iterator[Bypass]:
    """A lamp in the place of a fuse, and the volts behind it: a short lights the lamp and leaves none, a
    sound circuit leaves what its loads divide off (JOB.md section 4). Never towards restraint or high
    voltage."""
    a, b = Term(fuse.name, "in"), Term(fuse.name, "out")
    w, met = wiring(circuit), touching(circuit)
    if fuse.kind != "fuse" or any(w.node(t) is None or never(circuit, t) for t in (a, b)):
        return
    behind = {key(p.name) for n in beyond_fuse(circuit, fuse) for p in met.get(n, ())}
    if any(key(r.part) in behind and r.refuse_class in UNTOUCHED for r in circuit.refuses):
        return
    if nominal_v(circuit) <= LAMP_V * LAMP_UP_TO:
        lamp = _words(a, b, f"lamp {exact(LAMP_W, 'W')}")
        yield Bypass(Conditions(pulled=(fuse.name,), feed=lamp), fuse, LAMP_MIN, "fuse-lamp", meter_at=b)


def _ground_side(circuit: Circuit, relay: Part) -> Term | None:
    """The coil pin that is switched or tied to ground: its run ends at a low-side output or ground."""
    w, run = wiring(circuit), runs(circuit)
    kinds = {key(p.name): p.kind for p in circuit.parts}
    ends = {n for (name, _), n in w.node_of.items() if kinds.get(name) == "ground"}
    low = [x for x in circuit.modules if isinstance(x, Driver) and x.side == "low"]
    driven = (w.node(Term(x.module, x.pin)) for x in low if not _refused(circuit, x.module))
    ends |= {n for n in (*driven, w.node(BODY)) if n is not None}
    marked = {w.node(line.at) for line in circuit.never_probe}
    barred = {run[n] for n in marked if n is not None}
    grounded = {run[n] for n in ends} - barred
    for pin in ("85", "86"):
        n = w.node(Term(relay.name, pin))
        if n is not None and run[n] in grounded:
            return Term(relay.name, pin)
    return None


def _at_the_coil(circuit: Circuit, relay: Part, pin: Term, touched: Collection[str]) -> bool:
    """Whether the relay, or something on the run of its grounded pin, is in question."""
    w, run = wiring(circuit), runs(circuit)
    n = w.node(pin)
    on_run = {name for (name, _), m in w.node_of.items() if n is not None and run[m] == run[n]}
    return key(relay.name) in touched or bool(on_run & set(touched))


def coil_grounded(circuit: Circuit, touched: Collection[str]) -> Iterator[Bypass]:
    """A fused lead from the grounded side of a coil to battery minus. `touched`: parts in question."""
    minus = Term(_battery(circuit).name, "-")
    for relay in circuit.parts:
        pin = _ground_side(circuit, relay) if relay.kind == "relay" else None
        if pin is None or _refused(circuit, relay.name) or never(circuit, pin):
            continue
        if _at_the_coil(circuit, relay, pin, touched):
            lead = _words(pin, minus, f"fuse {exact(COIL_FUSE_A, 'A')}")
            yield Bypass(Conditions(feed=lead), relay, GROUND_MIN, "ground-coil")


def load_fed(circuit: Circuit, load: Part, at: Term) -> Iterator[Bypass]:
    """A fused lead from battery plus straight to a load."""
    if load.kind not in FED or _refused(circuit, load.name) or never(circuit, at) or meter_only(circuit, at):
        return
    plus = Term(_battery(circuit).name, "+")
    lead = _words(plus, at, f"fuse {exact(BRIDGE_FUSE_A, 'A')}")
    yield Bypass(Conditions(feed=lead), load, FEED_MIN, "feed-load")


def boosted(circuit: Circuit, starter: Part) -> Iterator[Bypass]:
    """A booster cable from engine metal (the starter's own ground) to battery minus."""
    engine, minus = Term(starter.name, "31"), Term(_battery(circuit).name, "-")
    if starter.kind == "starter" and wiring(circuit).node(engine) is not None and not never(circuit, engine):
        cable = _words(engine, minus, f"wire {exact(BOOSTER_MM2, 'mm2')} {exact(BOOSTER_M, 'm')}")
        yield Bypass(Conditions(feed=cable), starter, BOOST_MIN, "booster")


__all__ = ["WHY", "Bypass", "across", "boosted", "coil_grounded", "in_fuse_place", "load_fed"]
