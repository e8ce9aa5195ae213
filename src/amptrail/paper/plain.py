"""A paper as plain text, 78 columns wide, for the terminal."""

from __future__ import annotations

from textwrap import fill, indent
from typing import Any

from amptrail.paper.blocks import (
    Caution,
    Code,
    Columns,
    Heading,
    Lines,
    Pairs,
    Paper,
    Photograph,
    Picture,
    Points,
    Signatures,
    Table,
    Text,
    Ticks,
)  # fmt: skip
from amptrail.paper.words import say, speaking

WIDTH = 78
MARKS = {"yes": "[x]", "no": "[!]", "open": "[ ]"}


def _wrapped(text: str, first: str = "", rest: str | None = None) -> str:
    return fill(text, WIDTH, initial_indent=first, subsequent_indent=first if rest is None else rest)


def _table(block: Table) -> list[str]:
    out = ["  " + "  |  ".join(block.head)] if any(block.head) else []
    return out + [
        _wrapped("  |  ".join(c for c in row if c.strip()), "  ", "      ")
        for row in block.rows
        if any(c.strip() for c in row)
    ]


def _block(block: Any) -> list[str]:
    match block:
        case Heading():
            return ["", block.text]
        case Text():
            return [_wrapped(block.text, "  ")]
        case Caution():
            return [_wrapped(f"{say('common.caution')}: {block.text}")]
        case Pairs():
            wide = max(len(n) for n, _ in block.rows) + 2
            return [_wrapped(v, f"{n:<{wide}}", " " * wide) for n, v in block.rows]
        case Table():
            return _table(block)
        case Ticks():
            return [_wrapped(t, f"  {MARKS[m]} ", "      ") for m, t in block.rows]
        case Points():
            return [_wrapped(t, "  - ", "    ") for t in block.rows]
        case Columns():
            return [line for column in block.columns for b in column for line in _block(b)]
        case Lines() | Signatures():
            return [f"{n}: {'_' * 24}" for n in block.names]
        case Picture() | Photograph():
            return [_wrapped(f"({say('common.drawing')}: {block.caption})", "  ")]
        case Code():
            return []
        case _:
            return []


def plain(paper: Paper) -> str:
    """The paper as text."""
    lines = [paper.title, "=" * min(len(paper.title), WIDTH)]
    with speaking(paper.language):
        for b in paper.blocks:
            lines += _block(b)
    if paper.under:
        lines += ["", indent(paper.under, "")]
    return "\n".join(lines) + "\n"
