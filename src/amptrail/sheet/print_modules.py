"""Module lines in words."""

from __future__ import annotations

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
from amptrail.sheet.words import free_text, name_text, terminal_text
from amptrail.units import checked
from amptrail.units import exact as show


def logic_text(e: Expr, level: int = 0) -> str:
    """An expression with the brackets it needs: 0 in `or`, 1 in `and`, 2 under `not`, 3 before `held`."""

    def wrap(text: str, own: int) -> str:
        return f"({text})" if own < level else text

    match e:
        case Always():
            return "always"
        case Name(name, scope):
            return f"{scope} {name_text(name)}" if scope else name_text(name)
        case Says(module, name):
            return f"{name_text(module)} says {name_text(name)}"
        case InPhase(phase):
            return f"phase {free_text(phase)}"
        case Not(of):
            return wrap(f"not {logic_text(of, 2)}", 2)
        case And(of):
            return wrap(" and ".join(logic_text(x, 2) for x in of), 1)
        case Or(of):
            return wrap(" or ".join(logic_text(x, 1) for x in of), 0)
        case Held(of, seconds):
            return f"{logic_text(of, 3)} held {show(seconds, 's')}"
        case Pulsed(of, seconds):
            return f"{logic_text(of, 3)} pulsed {show(seconds, 's')}"


def _ohm(value: float | None) -> str:
    return "" if value is None else f" {show(value, 'ohm')}"


def _pin(module: str, pin: str) -> str:
    return f"{name_text(module)}.{terminal_text(pin)}"


def _input(m: Input) -> str:
    words = f"{_pin(m.module, m.pin)} input {name_text(m.name)}"
    if m.pull == "ground":
        words += f" pull-down{_ohm(m.ohm)}"
    elif m.pull is not None:
        to = f"{show(m.pull_v or 0.0, 'V')}" if m.pull == "volts" else "supply"
        if m.pull == "supply" and m.pull_from is not None:
            to = _pin(m.module, m.pull_from)
        words += f" pull-up{_ohm(m.ohm)} to {to}"
    if m.active_low:
        words += " active low"
    if m.on_v is not None:
        words += f" on at {show(m.on_v, 'V')}"
    if m.off_v is not None:
        words += f" off at {show(m.off_v, 'V')}"
    return words


_SIDE = {"low": "low-side", "high": "high-side", "half": "half-bridge"}


def _driver(m: Driver) -> str:
    words = [_pin(m.module, m.pin), _SIDE[m.side], name_text(m.name)]
    if m.feed is not None:
        words.append(f"from {_pin(m.module, m.feed)}")
    for word, value, unit in (("on", m.on_ohm, "ohm"), ("leak", m.leak_ohm, "ohm"), ("limit", m.limit_a, "A"),
                              ("duty", m.duty, "x")):  # fmt: skip
        if value is not None:
            words.append(f"{word} {show(value, checked(unit))}")
    if m.latch == "key":
        words.append("latches until key-off")
    if not m.body_diode:
        words.append("no body diode")
    if m.runs_asleep:
        words.append("runs asleep")
    return " ".join(words) + f" while {logic_text(m.when)}"


def module_line(m: ModuleLine) -> str:
    """One module line; reading it back gives the same record."""
    match m:
        case GroundPin():
            return f"{_pin(m.module, m.pin)} ground"
        case Lives():
            return f"{name_text(m.module)} lives above {show(m.volts, 'V')}"
        case Supply():
            least = "" if m.min_v is None else f" above {show(m.min_v, 'V')}"
            awake = "" if m.awake_ohm is None else f" {show(m.awake_ohm, 'ohm')} awake"
            asleep = "" if m.asleep_ohm is None else f" {show(m.asleep_ohm, 'ohm')} asleep"
            return f"{_pin(m.module, m.pin)} supply{awake}{asleep}{least}"
        case Input():
            return _input(m)
        case Reference():
            figures = f"{show(m.volts, 'V')} {show(m.ohm, 'ohm')} limit {show(m.limit_a, 'A')}"
            return f"{_pin(m.module, m.pin)} reference {name_text(m.name)} {figures}"
        case Driver():
            return _driver(m)
        case Clamp():
            ends = [_pin(m.module, m.to_supply)] if m.to_supply is not None else []
            ends += ["ground"] if m.to_ground else []
            return f"{_pin(m.module, m.pin)} clamps" + (f" to {', '.join(ends)}" if ends else "")
        case BusPin():
            volts = "" if m.volts is None else f" to {show(m.volts, 'V')}"
            return f"{_pin(m.module, m.pin)} {m.line}{_ohm(m.ohm)}{volts}"
        case Signal():
            return f"{name_text(m.module)} {name_text(m.name)} while {logic_text(m.expr)}"
