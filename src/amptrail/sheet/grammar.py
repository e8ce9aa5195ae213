"""The LALR(1) parser of one sheet line, built once per process."""

from __future__ import annotations

from functools import cache

from lark import Lark

from amptrail.sheet.lexer import SheetLexer, grammar_text, terminals

STARTS = ("statement", "point_arg", "fault_arg", "feed_arg", "reading")


def text() -> str:
    """The grammar with its tokens declared."""
    rules = grammar_text()
    return rules + "\n%declare " + " ".join(terminals(rules)) + "\n"


@cache
def parser() -> Lark:
    """The parser; lark refuses to build it if the grammar has a conflict."""
    return Lark(text(), parser="lalr", lexer=SheetLexer, start=list(STARTS), maybe_placeholders=True)
