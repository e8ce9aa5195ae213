"""What a vehicle must do: volts between two points, or a signal, and in which phases."""

from __future__ import annotations

from typing import Any

from lark import Token, Tree

from amptrail.circuit.model import Must, Term, key
from amptrail.sheet.hops import term, word
from amptrail.sheet.modules import si
from amptrail.sheet.names import TERMINALS, TWO_ENDED, Names, Node, wrong


def listed(tree: Node) -> tuple[str, ...]:
    """The words of a list, such as phases."""
    return tuple(str(word(t)) for t in tree.children if isinstance(t, Tree))


def must(names: Names, tree: Node) -> Must:
    """What a vehicle must do, as a `must` line says it; InputError for a bound given twice."""
    k = tree.children
    name = str(word(k[1]))
    if tree.data == "must_signal":
        when = k[5]
        lists = [listed(t) for t in when.children if isinstance(t, Tree)]
        on = lists[0] if when.data != "when_off" else ()
        off = lists[-1] if when.data != "when_on" else ()
        return Must(name, module=names.part(word(k[3])).name, signal=str(word(k[4])), on=on, off=off)
    refs = [t for t in k[3:] if isinstance(t, Tree) and t.data == "ref"]
    # one point alone is meant against battery minus, as every reading is
    minus = next((Term(p.name, "-") for p in names.parts.values() if p.kind == "battery"), None)
    a, b = term(names, refs[0]), term(names, refs[1]) if len(refs) > 1 else minus
    alone = names.parts.get(key(a.part)) if not a.name and len(refs) == 1 else None
    if alone is not None and alone.kind in TWO_ENDED and not alone.contacts:  # volts of a part: across it
        a, b = Term(alone.name, "in"), Term(alone.name, "out")
    for at, ref in zip((a, b), refs, strict=False):
        if at is not None and at.part and not at.name:
            first = next(iter(TERMINALS.get(names.parts[key(at.part)].kind, ())), "in")
            remedy = f"name one, such as {at.part}.{first}"
            said = f"say which terminal of {at.part}"
            raise wrong(word(ref.children[0]), "which-terminal", said, remedy=remedy)
    got: dict[str, Any] = {}
    bounds: Node = k[-1]
    for bound in bounds.children:
        if not isinstance(bound, Token):
            volts, phases = si(bound.children[0], "V"), listed(bound.children[-1])
            pair = ("min_v", "on") if bound.data == "at_least" else ("max_off_v", "off")
            if pair[0] in got:
                raise wrong(
                    bound.children[0], "twice", "this bound is given twice", remedy="keep one of them"
                )
            got |= {pair[0]: volts, pair[1]: phases}
    return Must(name, a, b, **got)
