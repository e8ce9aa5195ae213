"""Circuit -> Network: every part becomes two-ended branches between nodes, every switch a state item."""

from __future__ import annotations

import math
from functools import lru_cache

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Part, key
from amptrail.circuit.phases import closed, cranked, drive_cycle, position, seconds, turning
from amptrail.circuit.wiring import wiring
from amptrail.errors import ModelError, Problem
from amptrail.reference.fuse import cold_ohm
from amptrail.solve import laws
from amptrail.solve.modules import add_module
from amptrail.solve.network import Builder, Network

COPPER = 0.0185  # ohm mm2/m (laws oracle-1)
SUPPRESSOR_OHM = 680.0  # relay suppression resistor (common practice)
JUNCTION_V = 4.0  # no LED junction has more; a strip has several in series (common practice)


def _number(part: Part, name: str) -> float | None:
    got = tables.value(part, name)
    return float(got) if isinstance(got, (int, float)) else None


def _need(part: Part, name: str) -> float:
    got = _number(part, name)
    if got is None:
        raise ModelError((Problem("no-value", f"{part.kind} {part.name} needs {name}"),))
    return got


def wire_ohm(part: Part) -> float:
    """Resistance of a wire, ohm: as stated, else from its length and area."""
    stated = _number(part, "ohm")
    return stated if stated is not None else COPPER * _need(part, "length_m") / _need(part, "area_mm2")


def fuse_ohm(part: Part) -> float:
    """Cold resistance of a fuse, ohm: as stated, else by the table of its rating."""
    stated = _number(part, "ohm")
    return stated if stated is not None else cold_ohm(_need(part, "rating_a"))


def _ends(b: Builder, part: Part) -> tuple[int, int]:
    return b.node(part.name, "in"), b.node(part.name, "out")


def _battery(b: Builder, part: Part) -> None:
    plus, minus = b.node(part.name, "+"), b.node(part.name, "-")
    there = b.switch(f"{part.name}:connected", [1] * len(b.cycle) + [0])
    p = (_need(part, "emf_v"), _need(part, "inner_ohm"), _need(part, "charge_ohm"))
    n = b.branch(part.name, laws.BATTERY, minus, plus, p, laws.SWITCH, there)
    b.values(part, n, ("emf_v", "inner_ohm", "charge_ohm"))
    crank = _number(part, "crank_ohm")
    if crank is not None:
        rows = [int(cranked(b.circuit, part, p)) for p in b.cycle] + [0]
        k = b.branch(
            f"{part.name}.crank",
            laws.RES,
            plus,
            minus,
            (crank,),
            laws.SWITCH,
            b.switch(f"{part.name}:crank", rows),
        )
        b.values(part, k, ("crank_ohm",))


def _alternator(b: Builder, part: Part) -> None:
    out, ground = b.node(part.name, "B+"), b.node(part.name, "31")
    rows = [int(turning(b.circuit, part, p)) for p in b.cycle]
    unit = b.alternator(part.name, [*rows, 0])
    p = (_need(part, "emf_v"), _need(part, "inner_ohm"), math.inf)
    n = b.branch(part.name, laws.ONEWAY, ground, out, p, laws.CHARGE, unit)
    b.values(part, n, ("emf_v", "inner_ohm"))
    b.locate(part, "excite_a", "excite", (unit,), _need(part, "excite_a"))
    if b.has(part.name, "D+"):
        dplus = b.node(part.name, "D+")
        f = b.branch(f"{part.name}.field", laws.RES, dplus, ground, (_need(part, "field_ohm"),))
        b.values(part, f, ("field_ohm",))
        b.fields[unit] = f
        k = b.branch(f"{part.name}.D+", laws.ONEWAY, ground, dplus, (p[0], 0.2, math.inf), laws.CHARGE, unit)
        b.locate(part, "emf_v", "p", (k, 0), p[0])


def _relay(b: Builder, part: Part) -> None:
    c1, c2, com = b.node(part.name, "86"), b.node(part.name, "85"), b.node(part.name, "30")
    coil = b.branch(f"{part.name}.coil", laws.RES, c1, c2, (_need(part, "coil_ohm"),))
    b.values(part, coil, ("coil_ohm",))
    unit = b.relay(part, coil)
    contact = _need(part, "contact_ohm")
    for pin, gate in (("87", laws.MADE), ("87a", laws.BROKEN)):
        if b.has(part.name, pin):
            n = b.branch(f"{part.name}.{pin}", laws.RES, com, b.node(part.name, pin), (contact,), gate, unit)
            b.values(part, n, ("contact_ohm",))
    suppressed = tables.value(part, "suppressed")
    if suppressed == "diode":
        b.branch(f"{part.name}.diode", laws.DIODE, c2, c1, (5e-9, 1.5, 0.03))
    elif suppressed == "resistor":
        b.branch(f"{part.name}.resistor", laws.RES, c1, c2, (SUPPRESSOR_OHM,))


def _starter(b: Builder, part: Part) -> None:
    s50, s30, s31, m = (b.node(part.name, t) for t in ("50", "30", "31", "M"))
    hold = b.branch(f"{part.name}.coil", laws.RES, s50, s31, (_need(part, "hold_ohm"),))
    unit = b.relay(part, hold)
    # With the plunger in, the main contact bridges the pull-in winding; when 50 is let go its ampere-turns
    # oppose those of the hold-in winding and the plunger falls (textbook; from memory). Open says the same.
    pull_p = (_need(part, "pull_ohm"),)
    pull = b.branch(f"{part.name}.pull", laws.RES, s50, m, pull_p, laws.BROKEN, unit)
    made = b.branch(f"{part.name}.contact", laws.RES, s30, m, (_need(part, "contact_ohm"),), laws.MADE, unit)
    motor = b.branch(part.name, laws.RES, m, s31, (_need(part, "motor_ohm"),))
    for n, name in ((pull, "pull_ohm"), (hold, "hold_ohm"), (made, "contact_ohm"), (motor, "motor_ohm")):
        b.values(part, n, (name,))


def _switch(b: Builder, part: Part) -> None:
    ohm = _need(part, "ohm")
    if part.contacts:
        named = tables.value(part, "positions")
        known = list(named) if isinstance(named, tuple) else []
        known += [p for c in part.contacts for p in c.at]
        order = tuple(dict.fromkeys(known))
        at = [key(position(b.circuit, part.name, order, p)) for p in b.cycle]
        off = "off" if "off" in {key(p) for p in order} else key(order[0])
        for c in part.contacts:
            made = {key(p) for p in c.at}
            rows = [int(p in made) for p in (*at, off)]
            unit = b.switch(part.name, rows, (part.name, c.at))
            n = b.branch(
                f"{part.name}.{c.a}-{c.b}",
                laws.RES,
                b.node(part.name, c.a),
                b.node(part.name, c.b),
                (ohm,),
                laws.SWITCH,
                unit,
            )
            b.values(part, n, ("ohm",))
        return
    rows = [int(closed(b.circuit, part, p)) for p in (*b.cycle, None)]
    n = b.branch(part.name, laws.RES, *_ends(b, part), (ohm,), laws.SWITCH, b.switch(part.name, rows))
    b.values(part, n, ("ohm",))


def _fuse(b: Builder, part: Part) -> None:
    ohm = fuse_ohm(part) if part.kind == "fuse" else _need(part, "ohm")
    unit = len(b.fuse_branch)
    n = b.branch(part.name, laws.RES, *_ends(b, part), (ohm,), laws.FUSE, unit)
    b.fuse(part, n, _need(part, "rating_a"))
    b.locate(part, "ohm", "p", (n, 0), ohm)


def _star(b: Builder, part: Part) -> None:
    hub = b.node(part.name, "")
    leg = _need(part, "leg_ohm" if part.kind == "ground" else "ohm")
    for name in b.legs(part.name):
        n = b.branch(f"{part.name}.{name}", laws.RES, b.node(part.name, name), hub, (leg,))
        b.locate(part, "leg_ohm" if part.kind == "ground" else "ohm", "p", (n, 0), leg)
    if part.kind == "ground":
        to = part.said("to")
        n = b.branch(part.name, laws.RES, hub, b.named(str(to) if to else "body"), (_need(part, "ohm"),))
        b.values(part, n, ("ohm",))


def _motor(b: Builder, part: Part) -> None:
    stall, breaks, run_a, run_v = (_need(part, x) for x in ("stall_ohm", "break_a", "run_a", "run_v"))
    if run_a < breaks and part.said("break_a") is None:
        breaks = 0.4 * run_a  # the default of the table would be more than the running current itself
    if run_a < breaks or run_v < stall * breaks:
        text = f"motor {part.name}: its running current may not be below its break-away current"
        raise ModelError(
            (Problem("falling-law", text, remedy="State breaks and runs so that current rises."),)
        )
    n = b.branch(part.name, laws.MOTOR, *_ends(b, part), (stall, breaks, run_a, run_v))
    for i, (name, v) in enumerate(
        zip(("stall_ohm", "break_a", "run_a", "run_v"), (stall, breaks, run_a, run_v), strict=True)
    ):
        b.locate(part, name, "p", (n, i), v)


def _pot(b: Builder, part: Part) -> None:
    ohm, at = _need(part, "ohm"), (_number(part, "position") if part.kind == "pot" else 0.5) or 0.0
    n = [b.node(part.name, t) for t in ("1", "2", "3")]
    b.branch(f"{part.name}.1", laws.RES, n[0], n[1], (max(ohm * at, 1.0),))
    b.branch(f"{part.name}.3", laws.RES, n[1], n[2], (max(ohm * (1 - at), 1.0),))


def _simple(b: Builder, part: Part) -> None:
    """Two-ended parts of one branch."""
    kind = part.kind
    names: tuple[str, ...] = ("ohm",)
    law = laws.RES
    if kind == "wire":
        p: tuple[float, ...] = (wire_ohm(part),)
    elif kind == "lamp":
        law, names = laws.LAMP, ("rated_v", "rated_w")
        p = (_need(part, "rated_v"), _need(part, "rated_w"))
    elif kind == "diode":
        law, names = laws.DIODE, ("is_a", "n", "rs_ohm")
        p = (_need(part, "is_a"), _need(part, "n"), _need(part, "rs_ohm"))
    elif kind == "led":  # n = 2 a junction, stated forward voltage at 10 mA (common practice)
        law, names = laws.DIODE, ()
        forward_v = _need(part, "forward_v")
        n = 2.0 * max(1, math.ceil(forward_v / JUNCTION_V))
        p = (0.01 / math.exp(forward_v / (n * laws.THERMAL_V)), n, _need(part, "ohm"))
    elif kind == "heater":
        stated = _number(part, "ohm")
        p = (stated if stated is not None else _need(part, "rated_v") ** 2 / _need(part, "rated_w"),)
    elif kind == "ptc":
        law, names = laws.SAT, ("cold_ohm", "limit_a")
        p = (_need(part, "cold_ohm"), _need(part, "limit_a"))
    elif kind == "polyfuse":  # holds the current at its trip current: a non-falling stand-in for its heating
        law, names = laws.SAT, ("ohm", "trip_a")
        p = (_need(part, "ohm"), _need(part, "trip_a"))
    elif kind == "load":
        law, names = laws.SAT, ()
        amps = _need(part, "amps")
        p = (max(_need(part, "min_v"), 1e-3) / amps, amps)
    else:
        p = (_need(part, "ohm"),)
    n = b.branch(part.name, law, *_ends(b, part), p)
    for i, name in enumerate(names):
        b.locate(part, name, "p", (n, i), p[i])


MAKE = {
    "battery": _battery, "alternator": _alternator, "relay": _relay, "starter": _starter, "switch": _switch,
    "fuse": _fuse, "link": _fuse, "splice": _star, "ground": _star, "motor": _motor, "pot": _pot,
}  # fmt: skip


def _cavities(b: Builder, part: Part) -> None:
    for c in b.circuit.cavities:
        if key(c.connector) != key(part.name):
            continue
        ohm = c.ohm if c.ohm is not None else _need(part, "ohm")
        a, z = b.node(part.name, f"{c.name}.a"), b.node(part.name, f"{c.name}.b")
        n = b.branch(f"{part.name}.{c.name}", laws.RES, a, z, (ohm,))
        b.locate(part, "ohm", "p", (n, 0), ohm)


@lru_cache(maxsize=16)
def assemble(circuit: Circuit) -> Network:
    """The network of a circuit; ModelError when a part cannot be computed."""
    b = Builder(circuit, wiring(circuit), drive_cycle(circuit), [seconds(p) for p in drive_cycle(circuit)])
    for part in circuit.parts:
        if part.kind in ("connector", "box"):
            _cavities(b, part)
        elif part.kind == "module":
            add_module(b, part)
        elif part.kind == "sensor" and b.has(part.name, "3"):
            _pot(b, part)
        else:
            MAKE.get(part.kind, _simple)(b, part)
    return b.network()
