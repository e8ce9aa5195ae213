"""Sheet text to Circuit: every problem of every line in one pass."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from lark import Tree

from amptrail.circuit.model import Circuit, Point, Term, key
from amptrail.circuit.places import remember
from amptrail.circuit.tables import KINDS
from amptrail.errors import InputError, Problem, one
from amptrail.sheet.build import Builder
from amptrail.sheet.hops import term
from amptrail.sheet.names import Names, function_points
from amptrail.sheet.oneline import tree_of

MAX_CHARACTERS = 2_000_000
NOT_TEXT = re.compile("[\0-\x08\x0e-\x1b]")  # control characters that no editor puts into a text


def lines_of(text: str, what: str = "sheet") -> list[str]:
    """The lines of a sheet or of readings; InputError when it is too long or no text at all."""
    if len(text) > MAX_CHARACTERS:
        raise one("too-long", f"the {what} has {len(text)} characters; {MAX_CHARACTERS} is the most read",
                  remedy=f"give the {what}, not a recording or a scan")  # fmt: skip
    if hit := NOT_TEXT.search(text):
        before = text[: hit.start()].splitlines() or [""]
        raise one("not-text", f"the {what} is not a text file", line=len(before), column=len(before[-1]) + 1,
                  remedy=f"save the {what} as plain text (UTF-8)")  # fmt: skip
    return text.removeprefix("\ufeff").splitlines()


def decode(data: bytes) -> str:
    """Bytes of a sheet file as text: UTF-8, UTF-16 with its mark, else Latin-1."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _declared(line: str) -> set[str]:
    """The part that a line meant to declare, as far as its first two words tell."""
    first = line.split("#", 1)[0].split()[:2]
    return {key(first[1].strip("`"))} if len(first) == 2 and first[0].lower() in KINDS else set()


def parse_with_warnings(text: str, name: str = "") -> tuple[Circuit, tuple[Problem, ...]]:
    """The circuit of a sheet and its warnings; InputError with every error when there is one."""
    trees: list[tuple[int, Tree[Any]]] = []
    spoilt: set[str] = set()
    declared: dict[str, int] = {}
    problems: list[Problem] = []
    for number, line in enumerate(lines_of(text), 1):
        if not line.split("#", 1)[0].strip():
            continue
        declared |= dict.fromkeys(_declared(line), number)
        try:
            trees.append((number, tree_of(line, "statement", number)))
        except InputError as e:
            problems += e.problems
            spoilt |= _declared(line)
    if not trees and not problems:
        raise one("empty", "the sheet is empty", remedy="start with: battery BAT 12.6 V")
    builder = Builder()
    builder.names.spoilt |= spoilt
    builder.names.declared = declared
    circuit = builder.run(trees)
    problems += builder.problems
    problems.sort(key=lambda p: (p.line, p.column))
    if any(p.severity == "error" for p in problems):
        raise InputError(tuple(problems))
    if name and not circuit.name:
        circuit = replace(circuit, name=name)
    remember(circuit, builder.places)
    return circuit, tuple(problems)


def parse(text: str, name: str = "") -> Circuit:
    """The circuit of a sheet; InputError with every problem found."""
    return parse_with_warnings(text, name)[0]


def parse_point(circuit: Circuit, text: str) -> Term | Point:
    """A named point of the sheet, or a point as written: `K4.86`, `X7.4.b`, a net's name, a part; a function
    is read where its `must` line says."""
    for point in circuit.points:
        if key(point.name) == key(text.strip()):
            return point
    if of_function := function_points(circuit).get(key(text.strip())):
        return of_function
    names = Names(circuit)
    return term(names, tree_of(text, "point_arg").children[0])
