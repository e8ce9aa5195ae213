"""The LALR(1) parser of one sheet line, built once per process from tables kept beside this file."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

from lark import Lark

from amptrail.sheet.lexer import SheetLexer, grammar_text, terminals

STARTS = ("statement", "point_arg", "fault_arg", "feed_arg", "reading")


def text() -> str:
    """The grammar with its tokens declared."""
    rules = grammar_text()
    return rules + "\n%declare " + " ".join(terminals(rules)) + "\n"


@cache
def parser() -> Lark:
    """The parser; lark refuses to build it if the grammar has a conflict. Its tables are kept as bytecode is
    (a fifth of a second of every command), built anew where grammar, options or lark are others, and not kept
    where this folder cannot be written."""
    kept = Path(__file__).parent / "__pycache__" / f"sheet-{sys.implementation.cache_tag}.lalr"
    return Lark(text(), parser="lalr", lexer=SheetLexer, start=list(STARTS), maybe_placeholders=True,
                cache=str(kept))  # fmt: skip
