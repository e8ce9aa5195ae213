"""Electronic modules as branches, levels, programs (postfix) and timers."""

from __future__ import annotations

import math

from amptrail.circuit.model import (
    Always,
    And,
    BusPin,
    Clamp,
    Driver,
    Expr,
    GroundPin,
    Held,
    InPhase,
    Input,
    Lives,
    Name,
    Not,
    Or,
    Part,
    Reference,
    Says,
    Signal,
    Supply,
    key,
)
from amptrail.circuit.module_defaults import (
    ALIVE_V,
    BUS_OHM,
    BUS_V,
    LEAK_OHM,
    ON_OHM,
    PULL_OHM,
    supply_ohms,
)  # fmt: skip
from amptrail.circuit.phases import names_phase
from amptrail.errors import ModelError, Problem
from amptrail.solve import laws, logic
from amptrail.solve.network import Builder


def _compile(b: Builder, m: str, expr: Expr, out: list[tuple[int, int, int]]) -> None:
    if isinstance(expr, Always):
        out.append((logic.TRUE, 0, 0))
    elif isinstance(expr, Name):
        unit = b.input_number.get((key(m), key(expr.name)))
        signal = b.signal_number.get((key(m), key(expr.name)))
        if unit is not None and expr.scope != "signal":
            out.append((logic.INPUT, unit, 0))
        elif signal is not None:
            out.append((logic.SIGNAL, signal, 0))
        else:
            raise ModelError((Problem("unknown-name", f"{m} has no input or signal {expr.name}"),))
    elif isinstance(expr, Says):
        signal = b.signal_number.get((key(expr.module), key(expr.name)))
        if signal is None:
            raise ModelError((Problem("unknown-signal", f"{expr.module} says no {expr.name}"),))
        out.append((logic.BUS, signal, b.module_number[key(expr.module)]))
    elif isinstance(expr, InPhase):
        which = [n for n, p in enumerate(b.cycle) if names_phase(b.circuit, p, (expr.phase,))]
        out.extend((logic.PHASE, n, 0) for n in which or (-1,))
        if len(which) > 1:
            out.append((logic.OR, len(which), 0))
    elif isinstance(expr, (And, Or)):
        for e in expr.of:
            _compile(b, m, e, out)
        out.append((logic.AND if isinstance(expr, And) else logic.OR, len(expr.of), 0))
    elif isinstance(expr, Not):
        _compile(b, m, expr.of, out)
        out.append((logic.NOT, 0, 0))
    else:
        _compile(b, m, expr.of, out)
        b.hold_s.append(expr.seconds)
        b.timer_mod.append(b.module_number[key(m)])
        out.append((logic.HOLD if isinstance(expr, Held) else logic.PULSE, len(b.hold_s) - 1, 0))


def _driver(b: Builder, part: Part, d: Driver, unit: int, supplies: list[int], ground: int, m: int) -> int:
    pin = b.node(part.name, d.pin)
    feed = b.node(part.name, d.feed) if d.feed else supplies[0] if supplies else ground
    on = d.on_ohm if d.on_ohm is not None else ON_OHM
    leak = d.leak_ohm if d.leak_ohm is not None else LEAK_OHM
    p = (on, leak, d.duty if d.duty is not None else 1.0)
    a, z = (pin, ground) if d.side == "low" else (feed, pin)
    label = f"{part.name}.{d.name}"
    n = b.branch(
        label,
        laws.RES,
        a,
        z,
        p,
        laws.DRIVER,
        unit,
        alias=(f"{part.name}.{d.pin}", f"{part.name}.drv.{d.name}"),
    )
    if d.side == "half":
        b.branch(f"{label}.low", laws.RES, pin, ground, (on, leak, p[2], m), laws.LOWSIDE, unit)
    if d.body_diode:
        b.branch(
            f"{label}.diode", laws.DIODE, z, a, (5e-9, 1.5, 0.0), alias=(f"{part.name}.drv.{d.name}.bd",)
        )
    b.locate_name(label, "on_ohm", "p", (n, 0), on)
    b.locate_name(label, "leak_ohm", "p", (n, 1), leak)
    return n


def _input(b: Builder, part: Part, i: Input, supplies: list[int], ground: int, m: int) -> None:
    if i.pull is None:
        return
    pin, label = b.node(part.name, i.pin), f"{part.name}.{i.pin}"
    alias = (f"{part.name}.{i.name}", f"{part.name}.in.{i.name}")
    ohm = i.ohm if i.ohm is not None else PULL_OHM
    if i.pull == "volts":
        n = b.branch(label, laws.RES, pin, ground, (ohm, i.pull_v or 0.0), laws.PULL, m, alias)
    else:
        top = b.node(part.name, i.pull_from) if i.pull_from else supplies[0] if supplies else ground
        n = b.branch(label, laws.RES, pin, ground if i.pull == "ground" else top, (ohm,), alias=alias)
    b.locate_name(label, "ohm", "p", (n, 0), ohm)


def add_module(b: Builder, part: Part) -> None:
    """Every line of the module: branches, inputs, programs of signals and drivers in written order."""
    lines = [x for x in b.circuit.modules if key(x.module) == key(part.name)]
    m = b.module_number[key(part.name)]
    pins = [x.pin for x in lines if isinstance(x, GroundPin)]
    ground = b.node(part.name, pins[0]) if pins else b.named("body")
    for extra in pins[1:]:
        b.branch(f"{part.name}.{extra}", laws.RES, b.node(part.name, extra), ground, (0.001,))
    least = next((x.volts for x in lines if isinstance(x, Lives)), ALIVE_V)
    rows = [len(b.sup_node)]
    supplies: list[int] = []
    for s in (x for x in lines if isinstance(x, Supply)):
        pin, (awake, asleep) = b.node(part.name, s.pin), supply_ohms(s)
        n = b.branch(
            f"{part.name}.{s.pin}",
            laws.RES,
            pin,
            ground,
            (awake, asleep),
            laws.SUPPLY,
            m,
            (f"{part.name}.sup{len(supplies)}",),
        )
        b.locate_name(f"{part.name}.{s.pin}", "awake_ohm", "p", (n, 0), awake)
        b.locate_name(f"{part.name}.{s.pin}", "asleep_ohm", "p", (n, 1), asleep)
        b.sup_node.append(pin)
        b.least.append(s.min_v if s.min_v is not None else least)
        supplies.append(pin)
    rows += [len(b.sup_node), len(b.in_node)]
    for i in (x for x in lines if isinstance(x, Input)):
        _input(b, part, i, supplies, ground, m)
        b.in_node.append(b.node(part.name, i.pin))
        b.in_low.append(int(i.active_low))
        on = i.on_v if i.on_v is not None else (-math.inf if i.active_low else math.inf)
        b.level.append((on, i.off_v if i.off_v is not None else on))
    rows += [len(b.in_node), len(b.item_kind)]
    for x in lines:
        _rest(b, part, x, supplies, ground, m)
    _items(
        b,
        part,
        [x for x in lines if isinstance(x, Signal)],
        [x for x in lines if isinstance(x, Driver)],
        supplies,
        ground,
    )
    rows.append(len(b.item_kind))
    b.mod_ground.append(ground)
    b.mod_range.append(rows)
    b.mod_awake.append(b.signal_number.get((key(part.name), "awake"), -1))


def _items(
    b: Builder, part: Part, signals: list[Signal], drivers: list[Driver], supplies: list[int], ground: int
) -> None:
    """Signals in written order, then the drivers that follow from them."""
    m = b.module_number[key(part.name)]
    both: tuple[Signal | Driver, ...] = (*signals, *drivers)
    for item in both:
        first = len(b.code)
        _compile(b, part.name, item.expr if isinstance(item, Signal) else item.when, b.code)
        b.item_code.append((first, len(b.code)))
        if isinstance(item, Signal):
            b.item_kind.append(0)
            b.item_unit.append(b.signal_number[key(part.name), key(item.name)])
        else:
            unit = len(b.drv_branch)
            b.item_kind.append(1)
            b.item_unit.append(unit)
            b.drv_branch.append(_driver(b, part, item, unit, supplies, ground, m))
            b.drv_name.append(f"{part.name}.{item.name}")
            b.drv_asleep.append(int(item.runs_asleep))
            b.drv_key.append(int(item.latch == "key"))
            b.limit.append(item.limit_a if item.limit_a is not None else math.inf)


def _rest(b: Builder, part: Part, x: object, supplies: list[int], ground: int, m: int) -> None:
    """References, clamp diodes and bus pins."""
    if isinstance(x, Reference):
        n = b.branch(
            f"{part.name}.{x.pin}",
            laws.ONEWAY,
            ground,
            b.node(part.name, x.pin),
            (x.volts, x.ohm, x.limit_a),
            laws.REF,
            m,
            alias=(f"{part.name}.{x.name}", f"{part.name}.ref.{x.name}"),
        )
        for i, name in enumerate(("volts", "ohm", "limit_a")):
            b.locate_name(f"{part.name}.{x.pin}", name, "p", (n, i), (x.volts, x.ohm, x.limit_a)[i])
        if supplies:
            copy = b.branch(f"{part.name}.{x.pin}.copy", laws.CURRENT, supplies[0], ground, (0.0,), laws.COPY)
            b.refs.append((n, copy))
    elif isinstance(x, Clamp):
        pin = b.node(part.name, x.pin)
        if x.to_supply:
            b.branch(
                f"{part.name}.{x.pin}.up", laws.DIODE, pin, b.node(part.name, x.to_supply), (5e-9, 1.5, 0.03)
            )
        if x.to_ground:
            b.branch(f"{part.name}.{x.pin}.down", laws.DIODE, ground, pin, (5e-9, 1.5, 0.03))
    elif isinstance(x, BusPin):
        ohm, volts = x.ohm if x.ohm is not None else BUS_OHM, x.volts if x.volts is not None else BUS_V
        b.branch(
            f"{part.name}.{x.pin}", laws.RES, b.node(part.name, x.pin), ground, (ohm, volts), laws.PULL, m
        )
