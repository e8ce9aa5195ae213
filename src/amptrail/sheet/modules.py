"""Module lines: pins, drivers and the logic between them."""

from __future__ import annotations

from typing import Any

from lark import Token, Tree

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
    ModuleLine,
    Name,
    Not,
    Or,
    Pulsed,
    Reference,
    Says,
    Signal,
    Supply,
)  # fmt: skip
from amptrail.sheet.hops import word
from amptrail.sheet.lexer import quantity
from amptrail.sheet.names import Names, Node, wrong


def si(token: Any, dimension: str) -> float:
    """The SI value of a quantity token that must be of this dimension."""
    q = quantity(str(token))
    if q.dimension != dimension:
        raise wrong(
            token, "wrong-unit", f"{token} is not in {dimension}", remedy=f"give a figure in {dimension}"
        )
    if q.si < 0:
        raise wrong(token, "negative", f"{token} cannot be negative", remedy="give a figure of zero or more")
    return q.si


def maybe(token: Any, dimension: str) -> float | None:
    return None if token is None else si(token, dimension)


def logic(tree: Node) -> Expr:
    """An expression tree as the model's expression."""
    kids = [
        c for c in tree.children if not (isinstance(c, Token) and c.type in ("AND", "OR", "LPAR", "RPAR"))
    ]
    match str(tree.data):
        case "expr" | "conj":
            if len(kids) == 1:
                return logic(kids[0])
            made = tuple(logic(k) for k in kids)
            return Or(made) if tree.data == "expr" else And(made)
        case "plain":
            return logic(kids[0])
        case "negation":
            return Not(logic(kids[1]))
        case "held":
            return Held(logic(kids[0]), si(kids[2], "s"))
        case "pulsed":
            return Pulsed(logic(kids[0]), si(kids[2], "s"))
        case "always":
            return Always()
        case "in_phase":
            return InPhase(str(word(kids[1])))
        case "says":
            return Says(str(word(kids[0])), str(word(kids[2])))
        case "input_name":
            return Name(str(word(kids[1])), "input")
        case "signal_name":
            return Name(str(word(kids[1])), "signal")
        case _:
            return Name(str(word(kids[0])))


class Modules:
    """Reads module lines once the parts are known."""

    def __init__(self, names: Names) -> None:
        self.names = names

    def _module(self, token: Token) -> str:
        part = self.names.part(token)
        if part.kind != "module":
            raise wrong(token, "not-a-module", f"{part.name} is a {part.kind}, not a module",
                        known=[p.name for p in self.names.parts.values() if p.kind == "module"],
                        remedy=f"declare it with: module {part.name}")  # fmt: skip
        return part.name

    def _pin(self, tree: Node) -> tuple[str, str]:
        module = self._module(word(tree.children[0]))
        pin = self.names.terminal(self.names.parts[module.lower().replace("-", "_")], tree.children[2])
        self.names.note(module, pin)
        return module, pin

    def read(self, tree: Node) -> ModuleLine:
        """The model's record of one module line."""
        k = tree.children
        match str(tree.data):
            case "ground_pin":
                return GroundPin(*self._pin(k[0]))
            case "lives":
                return Lives(self._module(word(k[0])), si(k[3], "V"))
            case "supply":
                return self._supply(tree)
            case "input":
                return self._input(tree)
            case "reference":
                return Reference(
                    *self._pin(k[0]), str(word(k[2])), si(k[3], "V"), si(k[4], "ohm"), si(k[6], "A")
                )
            case "driver":
                return self._driver(tree)
            case "clamp":
                return self._clamp(tree)
            case "bus":
                line = "can-high" if str(k[1]).lower().replace("_", "-") == "can-high" else "can-low"
                volts = None if k[3] is None else si(k[3].children[1], "V")
                return BusPin(*self._pin(k[0]), line, maybe(k[2], "ohm"), volts)  # type: ignore[arg-type]
            case _:
                return Signal(self._module(word(k[0])), str(word(k[1])), logic(k[3]))

    def _supply(self, tree: Node) -> Supply:
        module, pin = self._pin(tree.children[0])
        awake = asleep = least = None
        for item in tree.children[2:]:
            if item.data == "supply_awake":
                awake = si(item.children[0], "ohm")
            elif item.data == "supply_asleep":
                asleep = si(item.children[0], "ohm")
            else:
                least = si(item.children[1], "V")
        return Supply(module, pin, awake, asleep, least)

    def _input(self, tree: Node) -> Input:
        module, pin = self._pin(tree.children[0])
        got: dict[str, Any] = {}
        for item in tree.children[3:]:
            k = item.children
            match str(item.data):
                case "pull_down":
                    got |= {"pull": "ground", "ohm": maybe(k[1], "ohm")}
                case "pull_up":
                    got |= {"pull": "supply", "ohm": maybe(k[1], "ohm")}
                case "pull_to_supply":
                    got |= {"pull": "supply"}
                case "pull_to_pin":
                    got |= {"pull": "supply", "pull_from": self._pin(k[1])[1]}
                case "pull_to_volts":
                    got |= {"pull": "volts", "pull_v": si(k[1], "V")}
                case "active_low":
                    got |= {"active_low": True}
                case "on_at":
                    got |= {"on_v": si(k[2], "V")}
                case "off_at":
                    got |= {"off_v": si(k[2], "V")}
        return Input(module, pin, str(word(tree.children[2])), **got)

    def _driver(self, tree: Node) -> Driver:
        module, pin = self._pin(tree.children[0])
        got: dict[str, Any] = {}
        for item in tree.children[3:-2]:
            k = item.children
            match str(item.data):
                case "driver_from":
                    got["feed"] = self._pin(k[1])[1]
                case "driver_on":
                    got["on_ohm"] = si(k[1], "ohm")
                case "driver_leak":
                    got["leak_ohm"] = si(k[1], "ohm")
                case "driver_limit":
                    got["limit_a"] = si(k[1], "A")
                case "driver_duty":
                    got["duty"] = si(k[1], "x")
                case "driver_latches":
                    got["latch"] = "key"
                case "driver_no_diode":
                    got["body_diode"] = False
                case "driver_asleep":
                    got["runs_asleep"] = True
        side = str(tree.children[1]).lower().split("-")[0].split("_")[0]
        name = str(word(tree.children[2]))
        return Driver(module, pin, name, side, when=logic(tree.children[-1]), **got)  # type: ignore[arg-type]

    def _clamp(self, tree: Node) -> Clamp:
        module, pin = self._pin(tree.children[0])
        to_supply, to_ground = None, False
        for end in tree.children[2].children if tree.children[2] is not None else ():
            if isinstance(end, Tree):
                target = end.children[0]
                if isinstance(target, Tree):
                    to_supply = self._pin(target)[1]
                else:
                    to_ground = True
        return Clamp(module, pin, to_supply, to_ground)
