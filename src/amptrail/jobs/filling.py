"""A sheet filled in figure by figure: what each part could be told, and one of them told.

Labels, units, what is assumed and what is taken come from the table of the kind; nothing filled in is an
error, it stays assumed and unconfirmed.
"""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

from lark import Token

from amptrail.circuit.model import Circuit, Part, Value, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.tables import Attribute, table, value
from amptrail.errors import InputError, Problem, nearest, one
from amptrail.jobs.base.context import Json
from amptrail.jobs.unsaid import MATTERS
from amptrail.sheet import parse
from amptrail.sheet.attributes import measured
from amptrail.sheet.edit import PLACE, with_said
from amptrail.sheet.lexer import TOKEN, quantity
from amptrail.sheet.printer import attributes
from amptrail.units import checked, digits, rounded

# by kind: known besides without a meter: on the part, in the drawing, by trying it
SEEN = {"wire": ("colour",), "switch": ("closed_in",), "alternator": ("spins_in",)}
PLAIN = ("ohm", "A", "V", "W", "mm2", "m", "s", "x")
MOST_LETTERS = 200
_BARE = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


def fields(sheet_text: str) -> Json:
    """Every part of a sheet with what it could be told, first what is known without a meter."""
    circuit = parse(sheet_text)
    inside = {key(p.name) for p in circuit.parts if ">" in p.name}
    rows = [_part(circuit, p) for p in circuit.parts]
    return {"parts": [r for r in rows if key(r["name"]) not in inside and r["fields"]],
            "runs": [r for r in rows if key(r["name"]) in inside]}  # fmt: skip


def fill(sheet_text: str, part: str, attribute: str, typed: str) -> Json:
    """The sheet with one field of a part as typed (empty: nobody knows), and what is then said of it."""
    circuit = parse(sheet_text)
    found = next((p for p in circuit.parts if key(p.name) == key(part)), None)
    names = [p.name for p in circuit.parts]
    if found is None:
        raise one("unknown-part", f"no part is called {part}", nearest=nearest(part, names),
                  remedy="name a part of the sheet")  # fmt: skip
    text, filled = with_said(
        sheet_text, found.name, attribute, _read(circuit, found, attribute, typed.strip())
    )
    return {"sheet": text, "part": _part(filled, next(p for p in filled.parts if p.name == found.name))}


# ---- what could be told --------------------------------------------------------------------------------
def _part(circuit: Circuit, part: Part) -> Json:
    first = (*MATTERS.get(part.kind, ()), *SEEN.get(part.kind, ()))
    shown = [_field(circuit, part, row, row.name in first) for row in table(part.kind) if _shown(row)]
    if part.kind != "wire" and circuit.places:
        shown.append(_place(circuit, part))
    a, _, b = part.name.partition(">")
    return {"name": part.name, "words": f"{a} to {b.partition('#')[0]}" if b else part.name,
            "kind": part.kind, "said": attributes(part).strip(), "fields": shown}  # fmt: skip


def _shown(row: Attribute) -> bool:
    return row.unit in (*PLAIN, "phases") or row.unit.startswith("choice:") or row.name in ("colour", "rows")


def _field(circuit: Circuit, part: Part, row: Attribute, first: bool) -> Json:
    said = part.said(row.name)
    bare = replace(part, given=tuple(x for x in part.given if x[0] != row.name))
    choices: list[str] = []
    if row.unit.startswith("choice:"):
        choices = row.unit[7:].split("|")
    elif row.unit == "phases":
        choices = [p.name for p in drive_cycle(circuit)]
    many = row.unit == "phases"
    return {"attribute": row.name, "label": row.description, "unit": row.unit if row.unit in PLAIN else "",
            "said": _typed(said), "assumed": _typed(value(bare, row.name)), "choices": choices,
            "many": many, "first": first}  # fmt: skip


def _place(circuit: Circuit, part: Part) -> Json:
    return {"attribute": PLACE, "label": "where it is", "unit": "", "said": part.place or "", "assumed": "",
            "choices": [p.name for p in circuit.places], "many": False, "first": True}  # fmt: skip


def _typed(said: Value | None) -> str:
    """A value as it is typed into its field."""
    if isinstance(said, tuple):
        return ", ".join(said)
    if isinstance(said, float):
        return digits(Decimal(repr(said)))
    return said if isinstance(said, str) else ""


# ---- what was typed ------------------------------------------------------------------------------------
def _read(circuit: Circuit, part: Part, name: str, typed: str) -> Value | None:
    if len(typed) > MOST_LETTERS:
        raise one("too-long", f"{len(typed)} letters are too many here", remedy="write what fits a label")
    if name == PLACE:
        return _one_of(typed, [p.name for p in circuit.places], "place") if typed else None
    row = next((r for r in table(part.kind) if r.name == name and _shown(r)), None)
    if row is None:
        known = [r.name for r in table(part.kind) if _shown(r)]
        raise one("unknown-field", f"a {part.kind} has no field {name}", expected=tuple(known),
                  nearest=nearest(name, known), remedy="write it in the text of the sheet")  # fmt: skip
    if not typed:
        return None
    if row.unit in PLAIN:
        return _figure(part, row, typed)
    if row.unit == "phases":
        phases = [p.name for p in drive_cycle(circuit)]
        return tuple(_one_of(x.strip(), phases, "phase") for x in typed.split(",") if x.strip())
    if row.unit.startswith("choice:"):
        return _one_of(typed, row.unit[7:].split("|"), row.description)
    if "`" in typed or not typed.isprintable():
        raise one("not-plain", f"{row.description} cannot hold {typed!r}", remedy="use letters and figures")
    return typed


def _figure(part: Part, row: Attribute, typed: str) -> float:
    figure = f"{typed} {row.unit}" if _BARE.fullmatch(typed) else typed
    match = TOKEN.fullmatch(figure)
    if match is None or match["num"] is None or quantity(figure).dimension != row.unit:
        unit = match["unit"] if match is not None else None
        said = f"{row.description} is in {row.unit}, not in {unit}" if unit else f"{typed} is no figure"
        known = row.default if isinstance(row.default, float) else row.low or 1.0
        raise one("not-a-figure", said, expected=(row.unit,),
                  remedy=f"write a number, such as {rounded(known, checked(row.unit))}")  # fmt: skip
    try:
        return measured(part.kind, row.word, Token("QTY", figure), set())[1]
    except InputError as e:  # the column would be that of the figure alone
        raise InputError(tuple(replace(p, line=0, column=0) for p in e.problems)) from None


def _one_of(typed: str, known: list[str], what: str) -> str:
    for name in known:
        if key(name) == key(typed):
            return name
    raise InputError((Problem("unknown-choice", f"{typed} is no {what} of this sheet", expected=tuple(known),
                              nearest=nearest(typed, known), remedy="choose one of these"),))  # fmt: skip
