"""No line has two readings: the grammar has no conflict, not even one lark would settle by itself."""

from __future__ import annotations

import logging

import pytest
from lark import Lark, logger

from amptrail.sheet.grammar import STARTS, text
from amptrail.sheet.lexer import SheetLexer


def _conflicts(grammar: str, start: list[str], caplog: pytest.LogCaptureFixture) -> list[str]:
    before = logger.level
    logger.addHandler(caplog.handler)
    logger.setLevel(logging.DEBUG)
    try:
        Lark(grammar, parser="lalr", lexer=SheetLexer, start=start, debug=True)
    finally:
        logger.setLevel(before)
        logger.removeHandler(caplog.handler)
    return [r.getMessage() for r in caplog.records if "onflict" in r.getMessage()]


def test_the_grammar_has_no_conflict(caplog: pytest.LogCaptureFixture) -> None:
    assert _conflicts(text(), list(STARTS), caplog) == []


def test_a_conflict_would_be_seen(caplog: pytest.LogCaptureFixture) -> None:
    assert _conflicts("start: start AND start | NAME\n%declare AND NAME\n", ["start"], caplog)
