"""Faults in words: the same on a sheet, on the command line, in answers and on paper."""

from __future__ import annotations

from typing import Any

from lark import Token, Tree

from amptrail.circuit.model import TOUCHES, Circuit, Fault, Term, key
from amptrail.circuit.pins import ending_at
from amptrail.circuit.tables import table
from amptrail.sheet.hops import term, word
from amptrail.sheet.lexer import quantity
from amptrail.sheet.modules import maybe, si
from amptrail.sheet.names import Names, Node, wrong
from amptrail.sheet.oneline import tree_of
from amptrail.sheet.words import name_text, term_text
from amptrail.units import checked
from amptrail.units import exact as show

_PLAIN = {
    "f_open": "open",
    "f_blown": "open",
    "f_stuck_on": "stuck_on",
    "f_stuck_off": "stuck_off",
    "f_dead": "dead",
    "f_always_on": "always_on",
    "f_stays_awake": "stays_awake",
    "f_seized": "seized",
    "f_missing": "missing",
    "f_interlock_open": "interlock_open",
    "f_instrument_wrong": "instrument_wrong",
    "f_woken": "woken",
}
_TEXT = {
    "open": "open",
    "stuck_on": "stuck on",
    "stuck_off": "stuck off",
    "dead": "dead",
    "always_on": "always on",
    "stays_awake": "stays awake",
    "seized": "seized",
    "missing": "missing",
    "interlock_open": "interlock open",
    "instrument_wrong": "instrument wrong",
    "woken": "woken",
    "module_dead": "dead",
}


def stem(name: str) -> str:
    """`coil_ohm` is written `coil`; `ohm` stays `ohm`."""
    head, _, tail = name.rpartition("_")
    return head if head and tail in ("ohm", "v", "a", "s", "w", "mm2", "m") else name


def _side_matters(mode: str) -> bool:
    return mode in ("to_ground", "to_supply", "to_point")


def blamed(names: Names, ref: Node, mode: str) -> Term:
    """The part, branch or point blamed. A cavity without a side is the cavity itself when it is a branch."""
    node = ref.children[0]
    if node.data == "name":
        return names.bare(word(node), part_first=not _side_matters(mode))
    at = term(names, ref)
    if node.data == "pin" and at.name.endswith(".a") and not _side_matters(mode):
        part = names.part(word(node.children[0]))
        if part.kind in ("connector", "box"):
            return Term(part.name, names.cavity(part, node.children[2]))
    owner = names.parts.get(key(at.part))
    if owner is not None and mode in ("open", "resistance"):
        ending = ending_at(owner, at.name)
        at = Term(at.part, ending[0]) if len(ending) == 1 else at  # `F1.in open` is `F1 open`
    driven = mode in ("dead", "always_on") and owner is not None and owner.kind == "module"
    return _driver(names, at, node.children[2], mode) if driven else at


def _driver(names: Names, at: Term, token: Token, mode: str) -> Term:
    """The driver or input blamed: by its own name first, then by the pin it sits on."""
    module = key(at.part)
    drivers = names.drivers.get(module, {})
    if key(at.name) in drivers:
        return Term(at.part, drivers[key(at.name)])
    on_pin = names.driver_pins.get((module, key(at.name)), [])
    if len(on_pin) == 1:
        return Term(at.part, on_pin[0])
    inputs = {k: pin for (m, k), pin in names.inputs.items() if m == module}
    if mode == "dead" and not on_pin and at.name in inputs.values():
        return at
    if mode == "dead" and not on_pin and key(at.name) in inputs:
        return Term(at.part, inputs[key(at.name)])
    known = on_pin or [*drivers.values(), *(inputs.values() if mode == "dead" else ())]
    raise wrong(token, "unknown-driver", f"{at.part} has no driver or input called {at.name}", known=known,
                remedy="name a driver, or the pin of one")  # fmt: skip


def fault(names: Names, tree: Node) -> Fault:
    """One fault tree as the model's primitive."""
    ref, how = tree.children
    kids, kind = how.children, str(how.data)
    mode: Any = _PLAIN.get(kind, kind.removeprefix("f_"))
    at = blamed(names, ref, mode)
    if mode == "dead" and not at.name:
        part = names.parts.get(key(at.part))
        if part is not None and part.kind == "module":
            mode = "module_dead"
    if mode == "has":
        return _has(names, at, how)
    if mode == "wrong_rating":
        return Fault(mode, at, value=maybe(kids[2], "A"))
    if mode == "resistance":
        return Fault(mode, at, ohm=maybe(kids[1], "ohm"))
    if mode in TOUCHES:
        return Fault(mode, at, ohm=maybe(kids[2], "ohm"))
    if mode == "to_point":
        return Fault(mode, at, term(names, kids[1]), maybe(kids[2], "ohm"))
    if mode == "swapped":
        return Fault(mode, at, None if kids[1] is None else blamed(names, kids[1].children[1], mode))
    return Fault(mode, at)


def _has(names: Names, at: Term, how: Node) -> Fault:
    said, token = word(how.children[1]), how.children[2]
    part = names.parts.get(key(at.part))
    rows = table(part.kind) if part is not None else ()
    wanted = "ohm" if key(str(said)) == "ohm_value" else key(str(said))
    q = quantity(str(token))
    named = [r for r in rows if wanted in (key(r.name), stem(r.name), key(r.word)) and r.unit]
    for row in named:
        if q.dimension == row.unit:
            return Fault("has", at, attribute=row.name, value=si(token, row.unit))
    if named:
        units = " or ".join(dict.fromkeys(r.unit for r in named))
        raise wrong(token, "wrong-unit", f"{said} is in {units}", remedy=f"give a figure in {units}")
    raise wrong(
        said,
        "unknown-attribute",
        f"{at.part or at.name} has no figure called {said}",
        known=[stem(r.name) for r in rows],
        remedy="use a figure of that kind of part",
    )


def faults(names: Names, tree: Node) -> tuple[Fault, ...]:
    """Faults joined by `and`."""
    return tuple(fault(names, t) for t in tree.children if isinstance(t, Tree))


def parse_fault(circuit: Circuit, text: str) -> tuple[Fault, ...]:
    """Faults in words, such as `K4.87 open and G2 resistance 0.8 ohm`; InputError when not understood."""
    return faults(Names(circuit), tree_of(text, "fault_arg").children[0])


def _at_text(circuit: Circuit | None, at: Term) -> str:
    """The point or branch blamed; a contact by its two terminals, `KEY.30-15`."""
    for part in circuit.parts if circuit is not None else ():
        if part.contacts and key(part.name) == key(at.part):
            for c in part.contacts:
                if at.name == f"{c.a}-{c.b}" and c.a.isalnum() and c.b.isalnum():
                    return f"{name_text(part.name)}.{at.name}"
    return term_text(at)


def _one_text(circuit: Circuit | None, f: Fault) -> str:
    at = _at_text(circuit, f.at)
    ohm = "" if f.ohm is None else f" {show(f.ohm, 'ohm')}"
    if f.mode == "resistance":
        return f"{at} resistance{ohm}"
    if f.mode == "to_ground":
        return f"{at} to ground{ohm}"
    if f.mode == "to_supply":
        return f"{at} to supply{ohm}"
    if f.mode == "to_point" and f.to is not None:
        return f"{at} to {term_text(f.to)}{ohm}"
    if f.mode == "swapped":
        return f"{at} swapped" + (f" with {term_text(f.to)}" if f.to else "")
    if f.mode == "wrong_rating":
        return f"{at} wrong rating" + ("" if f.value is None else f" {show(f.value, 'A')}")
    if f.mode == "has":
        return f"{at} has {stem(f.attribute or '')} {show(f.value or 0.0, checked(_unit(circuit, f)))}"
    return f"{at} {_TEXT[f.mode]}"


def _unit(circuit: Circuit | None, f: Fault) -> str:
    for part in circuit.parts if circuit is not None else ():
        if key(part.name) == key(f.at.part):
            for row in table(part.kind):
                if row.name == f.attribute:
                    return row.unit
    tail = (f.attribute or "").rpartition("_")[2]
    return {"v": "V", "a": "A", "w": "W"}.get(tail, tail if tail in ("ohm", "s", "mm2", "m") else "x")


def fault_text(circuit: Circuit | None, given: tuple[Fault, ...]) -> str:
    """The words of these faults; `parse_fault` gives the same faults back."""
    return " and ".join(_one_text(circuit, f) for f in given)
