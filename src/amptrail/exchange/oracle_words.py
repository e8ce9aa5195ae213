"""The words of the oracle format beside those of the model: terminals, parameters, expressions, branches."""

from __future__ import annotations

from collections.abc import Callable, Container
from typing import Any

from amptrail.circuit.model import (
    Always,
    And,
    Expr,
    Held,
    InPhase,
    Name,
    Not,
    Or,
    PartKind,
    Pulsed,
    Says,
    key,
)
from amptrail.errors import one

Json = dict[str, Any]

KIND_IN: dict[str, PartKind] = {
    "battery": "battery", "wire": "wire", "pin": "joint", "load": "resistor", "fuse": "fuse",
    "switch": "switch", "splice": "splice", "ground": "ground", "relay": "relay", "diode": "diode",
    "lamp": "lamp", "motor": "motor", "alternator": "alternator", "module": "module",
}  # fmt: skip
KIND_OUT: dict[str, str] = {v: k for k, v in KIND_IN.items()}

# JSON key of a net -> terminal name, per JSON kind, in the order terminals are joined
TERMINALS: dict[str, dict[str, str]] = {
    "battery": {"pos": "+", "neg": "-"},
    "relay": {"c1": "86", "c2": "85", "com": "30", "no": "87", "nc": "87a"},
    "diode": {"a": "in", "k": "out"},
    "alternator": {"bplus": "B+", "gnd": "31", "dplus": "D+"},
    **{k: {"a": "in", "b": "out"} for k in ("wire", "pin", "load", "fuse", "switch", "lamp", "motor")},
}

# JSON key of a number -> attribute of the model, per JSON kind
NUMBERS: dict[str, dict[str, str]] = {
    "battery": {"emf": "emf_v", "r_ohm": "inner_ohm", "r_charge_ohm": "charge_ohm"},
    "wire": {"ohm": "ohm", "mm2": "area_mm2", "length_m": "length_m"},
    "pin": {"ohm": "ohm"},
    "load": {"ohm": "ohm"},
    "fuse": {"ohm": "ohm", "rating_a": "rating_a"},
    "switch": {"ohm": "ohm"},
    "splice": {"ohm": "ohm"},
    "ground": {"ohm": "ohm", "leg_ohm": "leg_ohm"},
    "relay": {
        "coil_ohm": "coil_ohm", "pull_in_v": "pull_v", "drop_out_v": "drop_v", "contact_ohm": "contact_ohm",
    },
    "diode": {"is": "is_a", "n": "n", "rs": "rs_ohm"},
    "lamp": {"v_rated": "rated_v", "w_rated": "rated_w"},
    "motor": {"r_ohm": "stall_ohm", "i_break": "break_a", "i_run": "run_a", "v_rated": "run_v"},
    "alternator": {"emf": "emf_v", "r_ohm": "inner_ohm", "field_ohm": "field_ohm", "excite_a": "excite_a"},
    "module": {},
}  # fmt: skip

CONTACT_IN = {"no": "87", "nc": "87a", "coil": "coil", "field": "field"}
CONTACT_OUT = {v: k for k, v in CONTACT_IN.items()}
BY_PART = {"stuck_on": "stuck_on", "stuck_off": "stuck_off", "no_sleep": "stays_awake", "seized": "seized"}
BY_PART_OUT = {v: k for k, v in BY_PART.items()}


def is_cavity(p: Json) -> bool:
    """True for a pin whose id is CONNECTOR/CAVITY: it becomes a cavity; others become joints with a text."""
    return p["kind"] == "pin" and "connector" in p and p["id"] == f"{p['connector']}/{p['cavity']}"


def expression(e: Any, ambiguous: Container[str]) -> Expr:
    """An oracle expression as a model one; `ambiguous` holds the names that are input and signal both."""
    if isinstance(e, str):
        return _leaf(e, ambiguous)
    if not isinstance(e, list) or not e:
        raise one("oracle-expression", f"{e!r} is not an expression", expected=("true", "in.X", '["and", …]'))
    verb, *rest = e
    many: dict[str, Callable[[tuple[Expr, ...]], Expr]] = {"and": And, "or": Or}
    if verb in many and rest:
        return many[verb](tuple(expression(x, ambiguous) for x in rest))
    if verb == "not" and len(rest) == 1:
        return Not(expression(rest[0], ambiguous))
    if verb in ("hold", "pulse") and len(rest) == 2:
        of = expression(rest[0], ambiguous)
        return Held(of, rest[1]) if verb == "hold" else Pulsed(of, rest[1])
    raise one(
        "oracle-expression", f"{e!r} is not an expression", expected=("and", "or", "not", "hold", "pulse")
    )


def _leaf(e: str, ambiguous: Container[str]) -> Expr:
    if e == "true":
        return Always()
    other, dot, name = e.partition(".sig.")
    if dot:
        return Says(other, name)
    what, dot, name = e.partition(".")
    if dot and what == "phase":
        return InPhase(name)
    if dot and what == "in":
        return Name(name, "input" if key(name) in ambiguous else "")
    if dot and what == "sig":
        return Name(name, "signal" if key(name) in ambiguous else "")
    raise one(
        "oracle-expression", f"{e!r} names nothing", expected=("true", "in.X", "sig.X", "phase.P", "M.sig.X")
    )


def words(e: Expr, inputs: Container[str]) -> Any:
    """A model expression in the oracle's words; `inputs` holds the keys of this module's inputs."""
    match e:
        case Always():
            return "true"
        case Says(module, name):
            return f"{module}.sig.{name}"
        case InPhase(phase):
            return f"phase.{phase}"
        case Name(name, scope):
            is_input = scope == "input" or (scope == "" and key(name) in inputs)
            return f"in.{name}" if is_input else f"sig.{name}"
        case Not(of):
            return ["not", words(of, inputs)]
        case And(several):
            return ["and", *(words(x, inputs) for x in several)]
        case Or(several):
            return ["or", *(words(x, inputs) for x in several)]
        case Held(of, seconds):
            return ["hold", words(of, inputs), seconds]
        case Pulsed(of, seconds):
            return ["pulse", words(of, inputs), seconds]
