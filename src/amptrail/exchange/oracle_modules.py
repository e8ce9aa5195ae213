"""Modules of the oracle format: nets become pins, and back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from amptrail.circuit.model import (
    And,
    Circuit,
    Driver,
    Expr,
    GroundPin,
    Held,
    InPhase,
    Input,
    Lives,
    ModuleLine,
    Not,
    Or,
    Pulsed,
    Reference,
    Signal,
    Supply,
    Term,
    key,
)
from amptrail.circuit.module_defaults import supply_ohms
from amptrail.circuit.phases import meant
from amptrail.errors import one
from amptrail.exchange.oracle_words import Json, expression, words

Lines = list[ModuleLine]


class _Pins:
    """Gives every item of a module a pin of its own: 31, 30, 30_2 …, else the item's name."""

    def __init__(self, module: str) -> None:
        self.module = module
        self.taken: set[str] = set()
        self.joins: list[tuple[str, Term]] = []
        self.of_net: dict[str, str] = {}  # first pin on a net, for `feed` and `from`

    def give(self, wish: str, net: str) -> str:
        pin, n = wish, 2
        while key(pin) in self.taken:
            pin, n = f"{wish}_{n}", n + 1
        self.taken.add(key(pin))
        self.joins.append((net, Term(self.module, pin)))
        return pin

    def supply(self, net: str) -> str:
        if net not in self.of_net:
            self.of_net[net] = self.give("30", net)
        return self.of_net[net]


def _input(m: str, i: Json, pins: _Pins) -> Input:
    pull = i.get("pull")
    if pull not in ("ground", "supply", "volts", None):
        raise one(
            "oracle-pull",
            f"module {m}, input {i['name']}: pull {pull!r}",
            expected=("ground", "supply", "volts"),
        )
    return Input(
        m,
        pins.give(i["name"], i["net"]),
        i["name"],
        pull,
        i.get("ohm"),
        i.get("volts"),
        pins.supply(i["from"]) if "from" in i else None,
        i.get("on_v"),
        i.get("off_v"),
        i.get("active") == "low",
    )


def _driver(m: str, d: Json, pins: _Pins, ambiguous: set[str]) -> Driver:
    if d["type"] not in ("low", "high"):
        raise one(
            "oracle-driver", f"module {m}, driver {d['name']}: type {d['type']!r}", expected=("low", "high")
        )
    return Driver(
        m,
        pins.give(d["name"], d["net"]),
        d["name"],
        d["type"],
        expression(d["when"], ambiguous),
        feed=pins.supply(d["feed"]) if "feed" in d else None,
        on_ohm=d.get("on_ohm"),
        leak_ohm=d.get("leak_ohm"),
        limit_a=d.get("i_max"),
        body_diode=d.get("body_diode", True),
        runs_asleep=d.get("runs_asleep", False),
    )


def module_in(p: Json) -> tuple[Lines, list[tuple[str, Term]]]:
    """The lines of one module, and the net each of its pins is on."""
    m = p["id"]
    pins = _Pins(m)
    inputs = {key(i["name"]) for i in p.get("inputs", [])}
    ambiguous = inputs & {key(s["name"]) for s in p.get("signals", [])}
    out: Lines = [GroundPin(m, pins.give("31", p["ground"]))]
    if "min_v" in p:
        out.append(Lives(m, p["min_v"]))
    for s in p.get("supplies", []):
        pin = pins.give("30", s["net"])
        pins.of_net.setdefault(s["net"], pin)
        out.append(Supply(m, pin, s["awake_ohm"], s["asleep_ohm"], s.get("min_v")))
    out += [_input(m, i, pins) for i in p.get("inputs", [])]
    out += [_driver(m, d, pins, ambiguous) for d in p.get("drivers", [])]
    for r in p.get("refs", []):
        out.append(
            Reference(m, pins.give(r["name"], r["net"]), r["name"], r["volts"], r["ohm"], r["limit_a"])
        )
    out += [Signal(m, s["name"], expression(s["expr"], ambiguous)) for s in p.get("signals", [])]
    return out, pins.joins


# ---- the way back ----------------------------------------------------------------------------------
def pick(d: dict[str, Any]) -> Json:
    """The dict without what was never said."""
    return {k: v for k, v in d.items() if v is not None}


def _input_out(i: Input, net: Any) -> Json:
    return pick(
        {
            "name": i.name, "net": net(i.pin), "pull": i.pull, "ohm": i.ohm, "volts": i.pull_v,
            "from": net(i.pull_from) if i.pull_from else None,
            "on_v": i.on_v, "off_v": i.off_v, "active": "low" if i.active_low else None,
        }
    )  # fmt: skip


def _driver_out(d: Driver, net: Any, inputs: set[str]) -> Json:
    if d.side == "half" or d.duty is not None:
        raise one(
            "oracle-driver", f"module {d.module}, driver {d.name}: this format has no half bridge and no duty"
        )
    return pick(
        {
            "name": d.name, "net": net(d.pin), "type": d.side, "feed": net(d.feed) if d.feed else None,
            "on_ohm": d.on_ohm, "leak_ohm": d.leak_ohm, "i_max": d.limit_a, "when": words(d.when, inputs),
            "body_diode": None if d.body_diode else False, "runs_asleep": True if d.runs_asleep else None,
        }
    )  # fmt: skip


def in_phases(circuit: Circuit, e: Expr) -> Expr:
    """The expression with the base of a phase written as all the phases that stand on it."""
    match e:
        case InPhase(phase):
            several = tuple(InPhase(p.name) for p in meant(circuit, phase)) or (e,)
            return several[0] if len(several) == 1 else Or(several)
        case And(of) | Or(of):
            return replace(e, of=tuple(in_phases(circuit, x) for x in of))
        case Not(of) | Held(of, _) | Pulsed(of, _):
            return replace(e, of=in_phases(circuit, of))
        case _:
            return e


def _spelled_out(circuit: Circuit, x: ModuleLine) -> ModuleLine:
    if isinstance(x, Signal):
        return replace(x, expr=in_phases(circuit, x.expr))
    return replace(x, when=in_phases(circuit, x.when)) if isinstance(x, Driver) else x


def module_out(circuit: Circuit, name: str, net_of: Any) -> Json:
    """The dict of one module. `net_of(Term)` gives the net's name."""
    lines = [_spelled_out(circuit, x) for x in circuit.modules if key(x.module) == key(name)]
    inputs = {key(x.name) for x in lines if isinstance(x, Input)}

    def net(pin: str) -> Any:
        return net_of(Term(name, pin))

    out: Json = {
        "id": name,
        "kind": "module",
        "supplies": [],
        "inputs": [],
        "drivers": [],
        "refs": [],
        "signals": [],
    }
    for x in lines:
        match x:
            case GroundPin(_, pin):
                out["ground"] = net(pin)
            case Lives(_, volts):
                out["min_v"] = volts
            case Supply(_, pin, _, _, min_v):
                awake, asleep = supply_ohms(x)
                row = {"net": net(pin), "awake_ohm": awake, "asleep_ohm": asleep, "min_v": min_v}
                out["supplies"].append(pick(row))
            case Input():
                out["inputs"].append(_input_out(x, net))
            case Driver():
                out["drivers"].append(_driver_out(x, net, inputs))
            case Reference(_, pin, ref, volts, ohm, limit):
                out["refs"].append(
                    {"name": ref, "net": net(pin), "volts": volts, "ohm": ohm, "limit_a": limit}
                )
            case Signal(_, signal, expr):
                out["signals"].append({"name": signal, "expr": words(expr, inputs)})
            case _:
                raise one(
                    "oracle-module", f"module {name}: this format has no {type(x).__name__.lower()} line"
                )
    return out
