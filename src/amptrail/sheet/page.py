"""docs/parts.md from the attribute tables: `python -m amptrail.sheet.page docs/parts.md`."""

from __future__ import annotations

import sys
from pathlib import Path

from amptrail.circuit.model import PartKind
from amptrail.circuit.tables import KINDS, Attribute, table
from amptrail.sheet.attributes import as_written
from amptrail.sheet.build import BASES, WAYS
from amptrail.sheet.names import BRANCHES, CAVITIED, HUBS, TERMINALS, TWO_ENDED

HEAD = """# Every kind of part

Made from the tables of the program by `python -m amptrail.sheet.page docs/parts.md`; do not edit by hand.
A line is `KIND NAME`, what it takes in any order, then `at PLACE` and `"a remark"`. `…` stands for a figure
in the unit that follows it; nothing is required, and what is not said has the default, marked unconfirmed.
The spread is one sigma.

- Phases stand on: {bases}.
- Ways to reach a point (`reach K4.86 socket 2 min`): {ways}. `not` means it cannot be reached.
"""


def terminals(kind: PartKind) -> str:
    """The terminals of a kind in words."""
    if kind in HUBS:
        return "legs 1 2 3 … in order of mention"
    if kind in CAVITIED:
        return "cavities, each with sides a and b"
    if kind == "module":
        return "pins, named by the lines that use them"
    if kind == "switch":
        return "in out; with positions: those its contacts name"
    inside = "".join(
        f"; inside, for faults and clamp: {', '.join(BRANCHES[kind])}" if kind in BRANCHES else ""
    )
    return " ".join(TERMINALS.get(kind, ("in", "out") if kind in TWO_ENDED else ())) + inside


def _default(row: Attribute) -> str:
    if row.default is None:
        return ""
    if isinstance(row.default, float):
        return f"{row.default:g} {row.unit}"
    return ", ".join(row.default) if isinstance(row.default, tuple) else str(row.default)


def section(kind: PartKind) -> str:
    """One kind as Markdown."""
    head = "| write | default | spread | what | source |"
    lines = [f"## {kind}", "", f"Terminals: {terminals(kind)}.", ""]
    found = table(kind)
    if not found:
        return "\n".join([*lines[:-1], "Takes no figures."]) + "\n"
    lines += [head, "|---|---|---|---|---|"]
    for r in found:
        spread = f"{100 * r.tolerance:g} %" if r.tolerance else ""
        cells = (f"`{as_written(r)}`", _default(r), spread, r.description, r.source)
        lines.append("| " + " | ".join(c.replace("|", "or") for c in cells) + " |")
    return "\n".join(lines) + "\n"


def page() -> str:
    """The whole page."""
    head = HEAD.format(bases=", ".join(BASES), ways=", ".join(WAYS))
    return "\n".join([head, *(section(k) for k in KINDS)])


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(page(), encoding="utf-8")
