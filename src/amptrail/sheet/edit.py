"""One thing said of one part changed in the text of a sheet; remarks, order and spelling of all else stay."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from lark import Token, Tree

from amptrail.circuit.model import Circuit, Part, Value, key
from amptrail.circuit.places import at
from amptrail.errors import one
from amptrail.sheet.attributes import attribute
from amptrail.sheet.oneline import tree_of
from amptrail.sheet.parse import parse
from amptrail.sheet.printer import attributes

PLACE = "place"  # what is no attribute of a table and stands in the statement all the same
_LAST = ("attr_text", "attr_place")  # what is said before them is inserted before them


def _span(tree: Tree[Any]) -> tuple[int, int]:
    tokens = list(tree.scan_values(lambda v: isinstance(v, Token)))
    return (tokens[0].column or 1) - 1, (tokens[-1].end_column or 1) - 1


def _statement(line: str, number: int, column: int) -> tuple[list[Tree[Any]], int]:
    """What is said of the part that stands at the column, and where the first of it may begin."""
    tree = tree_of(line, "statement", number)
    for t in tree.iter_subtrees():
        kids: list[Any] = list(t.children)
        if t.data == "part":
            return [k for k in kids[2:] if isinstance(k, Tree)], _span(kids[1])[1]
        if t.data in ("hop_wire", "hop_named_wire") and kids[0].column == column:
            items = [k for k in kids[1:-1] if isinstance(k, Tree)]
            if t.data == "hop_wire":
                return items, kids[0].end_column - 1
            return items[1:], kids[2].end_column - 1
    raise KeyError(f"no part is declared in line {number}, column {column}")


def _changed(part: Part, name: str, said: Value | None) -> Part:
    if name == PLACE:
        return replace(part, place=None if said is None else str(said))
    given = {k: v for k, v in part.given if k != name}
    return replace(part, given=tuple(sorted((given | ({} if said is None else {name: said})).items())))


def _spliced(line: str, items: list[Tree[Any]], start: int, part: Part, name: str, words: str) -> str:
    taken: set[str] = set()
    end = start
    for item in items:
        if item.data == "attr_place":
            found = PLACE
        elif item.data == "attr_text":
            found = ""
        else:
            found = attribute(part.kind, item, taken)[0]
            taken.add(found)
        a, b = _span(item)
        if found == name:
            if words:
                return line[:a] + words + line[b:]
            head, tail = line[:a].rstrip(" "), line[b:]
            return head + (tail.lstrip(" ") if head.endswith("[") else tail)
        if item.data not in _LAST or name == PLACE:
            end = b
    if not words:
        return line
    before = "" if line[end - 1 : end] == "[" else " "
    after = "" if end >= len(line) or line[end] in " ]" else " "
    return line[:end] + before + words + after + line[end:]


def with_said(text: str, part_name: str, name: str, said: Value | None) -> tuple[str, Circuit]:
    """The sheet with an attribute of a part (or its `place`) said so, or no longer said (None); InputError
    when the sheet cannot be read, before or after."""
    circuit = parse(text)
    part = next((p for p in circuit.parts if key(p.name) == key(part_name)), None)
    if part is None:
        raise one("unknown-part", f"no part is called {part_name}", remedy="name a part of the sheet")
    number, column = at(circuit, "part", part.name)
    rows = text.splitlines(keepends=True)
    whole = rows[number - 1]
    mark = "\ufeff" if number == 1 and whole.startswith("\ufeff") else ""
    line = whole.removeprefix(mark).splitlines()[0]
    items, start = _statement(line, number, column)
    lone = Part(part.kind, "", ((name, said),) if name != PLACE and said is not None else (),
                str(said) if name == PLACE and said is not None else None)  # fmt: skip
    new = _spliced(line, items, start, part, name, attributes(lone).strip())
    rows[number - 1] = mark + new + whole.removeprefix(mark)[len(line) :]
    changed = _changed(part, name, said)
    got = parse(filled := "".join(rows))
    if replace(circuit, parts=tuple(changed if p is part else p for p in circuit.parts)) != got:
        raise one("not-so", f"{attributes(lone).strip()} would mean something else there", line=number,
                  remedy="write it in the text of the sheet")  # fmt: skip
    return filled, got
