"""From the attributes written after a part's name to (attribute, value) pairs, by the table of its kind."""

from __future__ import annotations

from lark import Token, Tree

from amptrail.circuit.model import PartKind, Value, key
from amptrail.circuit.tables import Attribute, table
from amptrail.errors import InputError, Problem, nearest
from amptrail.sheet.lexer import quantity, unquote
from amptrail.sheet.names import Node, wrong

PLAIN_UNITS = {"flag": "", "phases": "PHASE, PHASE …", "names": "NAME, NAME …", "text": "…", "": "…"}


def _row(kind: PartKind, word: str, dimension: str, taken: set[str]) -> Attribute | None:
    for row in table(kind):
        fits = row.unit == dimension and key(row.word) == key(word)
        if fits and row.name not in taken:
            return row
    return None


def _words(kind: PartKind) -> tuple[str, ...]:
    return tuple(as_written(r) for r in table(kind))


def as_written(row: Attribute) -> str:
    """An attribute as a person writes it: `coil … ohm`, `suppressed none or resistor or diode`."""
    if row.unit.startswith("choice:"):
        return f"{row.word} {' or '.join(row.unit[7:].split('|'))}"
    if row.unit in PLAIN_UNITS:
        return f"{row.word} {PLAIN_UNITS[row.unit]}".strip()
    return f"{row.word} … {row.unit}".strip()


def measured(kind: PartKind, word: str, token: Token, taken: set[str]) -> tuple[str, float]:
    """A quantity with its attribute word (empty for the main figures)."""
    q = quantity(str(token))
    row = _row(kind, word, q.dimension, taken)
    if row is None:
        said = f"{word} {token}".strip()
        near = nearest(word, [r.word for r in table(kind) if r.word]) if word else None
        worded = [r.word for r in table(kind) if r.unit == q.dimension and r.word and r.name not in taken]
        if not word and len(worded) == 1:
            near = f"{worded[0]} {token}"
            raise _not_taken(kind, said, token, near, f"write {near}")
        raise _not_taken(kind, said, token, near, "check the unit, and that the figure is not given twice")
    low, high = row.low, row.high
    if (low is not None and q.si < low) or (high is not None and q.si > high):
        raise wrong(token, "out-of-range", f"{token} is out of range for the {row.description} of a {kind}",
                    remedy=f"give a value from {low:g} to {high:g} {row.unit}")  # fmt: skip
    return row.name, q.si


def _flag(kind: PartKind, name: str, value: Value, token: Token | None) -> tuple[str, Value]:
    for row in table(kind):
        if row.name == name:
            if row.unit.startswith("choice:") and value not in row.unit[7:].split("|"):
                raise wrong(token, "unknown-choice", f"{name} cannot be {value}",
                            known=row.unit[7:].split("|"))  # fmt: skip
            return name, value
    raise _not_taken(kind, str(token or name), token, None, "leave it out, or name a part that takes it")


def _not_taken(kind: PartKind, said: str, token: Token | None, near: str | None, remedy: str) -> InputError:
    column = (token.column or 0) if token is not None else 1
    message = f"{kind} does not take `{said}`"
    return InputError(
        (Problem("unknown-attribute", message, 1, column, "error", _words(kind), near, remedy),)
    )


def attribute(kind: PartKind, tree: Node, taken: set[str]) -> tuple[str, Value]:
    """One attribute tree as an (attribute, value) pair."""
    name, kids = str(tree.data), [c for c in tree.children if c is not None]
    first = kids[0] if kids and isinstance(kids[0], Token) else None
    if name == "attr_qty":
        word = str(kids[0]) if len(kids) == 2 else ""
        return measured(kind, word, kids[-1], taken)
    if name == "attr_rows":
        return _flag(kind, "rows", unquote(str(kids[1])), first)
    if name == "attr_never":
        return _flag(kind, "never", True, first)
    if name == "attr_never_spins":
        return _flag(kind, "spins_in", (), first)
    if name == "attr_names":
        which = {"closed": "closed_in", "spins": "spins_in"}.get(key(str(first)), "positions")
        return _flag(
            kind, which, tuple(str(n.children[0]) for n in kids[-1].children if isinstance(n, Tree)), first
        )
    if name == "attr_suppressed":
        by = str(kids[1].children[1].children[0]).lower() if len(kids) > 1 else "diode"
        return _flag(kind, "suppressed", by, first)
    if name == "attr_layout":
        return _flag(kind, "layout", str(kids[1].children[0]).upper(), first)
    if name == "attr_to":
        return _flag(kind, "to", _point(kids[1]), first)
    return _flag(kind, "colour", str(kids[0]), first)


def _point(tree: Node) -> str:
    """The point a ground is bolted to, as `str(Term)`; resolved when the circuit is computed."""
    return "".join(str(t) for t in tree.scan_values(lambda v: isinstance(v, Token)))
