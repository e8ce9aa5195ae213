"""Tokens of a sheet line. The parser's state decides whether a word is a statement word or a name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

from lark import Token
from lark.exceptions import UnexpectedCharacters
from lark.lexer import Lexer, LexerState
from lark.parsers.lalr_analysis import Shift

from amptrail.circuit.model import key
from amptrail.circuit.tables import KINDS, table
from amptrail.sheet.quantity import Quantity
from amptrail.units import WORDS

_WORD = r"[^\W\d][\w]*(?:-\w+)*(?:[+-](?![\w`-]))?"
_END = r"(?:[^\W\d]\w*(?:-\w+)*\.[\w+.-]*?[\w+-]|(?i:body))"  # one end of an unnamed wire
_UNIT = "|".join(sorted(map(re.escape, WORDS), key=len, reverse=True))
TOKEN = re.compile(
    rf"""(?P<SPACE>[\s]+|\#.*)
    |(?P<TEXT>"(?:[^"\\]|\\.)*")
    |(?P<QUOTED>`[^`]+`)
    |(?P<DASHES>--+(?=\s|\[|$|[^\W\d]))
    |(?P<QTY>(?P<num>(?:(?<![\w`.])[+-])?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)\s*(?P<unit>{_UNIT})(?![\w]))
    |(?P<PAIR>{_END}>{_END}(?:\#\d+)?(?![\w+.-]))
    |(?P<WORD>{_WORD})
    |(?P<NUMBER>(?:(?<![\w`.])[+-])?\d+(?:[.,]\d+)?)
    |(?P<PUNCT>[.\[\]():;,>-])""",
    re.VERBOSE,
)
_TERM = re.compile(r"`[^`]+`|\w+(?:[+-](?![\w`]))?|[+-](?![\w`])|[+-]")
_PUNCT = {
    ".": "DOT",
    "[": "LSQB",
    "]": "RSQB",
    "(": "LPAR",
    ")": "RPAR",
    ":": "COLON",
    ";": "SEMI",
    ",": "COMMA",
    "-": "MINUS",
    ">": "GT",
}
_GROUPED = {
    "low-side": "SIDE",
    "high-side": "SIDE",
    "half-bridge": "SIDE",
    "can-high": "BUS",
    "can-low": "BUS",
    "name": "NAME_OF",
    **dict.fromkeys(("mine", "shop", "customer"), "WHOSE"),
    **dict.fromkeys(
        ("meter", "lamp", "led", "loaded", "clamp", "fuse-drop", "ohmmeter", "scope", "hand", "eye"), "TOOL"
    ),
    **dict.fromkeys(
        ("bright", "dim", "dark", "nothing", "alternates", "beeps", "silent", "warm", "hot", "cold"), "VALUE"
    ),
    **dict.fromkeys(("unsure", "fluctuates", "intermittent", "old"), "QUALITY"),
}
_NOT_WORDS = {
    "NAME",
    "TERM",
    "TEXT",
    "QTY",
    "AWORD",
    "KIND",
    "SIDE",
    "BUS",
    "NAME_OF",
    "DASHES",
    "WHOSE",
    "TOOL",
    "VALUE",
    "QUALITY",
    "NUMBER",
    *_PUNCT.values(),
}


def terminals(grammar: str) -> tuple[str, ...]:
    """Every upper-case word of the grammar."""
    body = "\n".join(line for line in grammar.splitlines() if not line.startswith("//"))
    return tuple(sorted(set(re.findall(r"\b[A-Z][A-Z_]*\b", body))))


def grammar_text() -> str:
    """The rules, as written in grammar.lark."""
    return (files("amptrail.sheet") / "grammar.lark").read_text(encoding="utf-8")


@cache
def words() -> dict[str, tuple[str, ...]]:
    """Statement word (folded) -> the tokens it may be, in order of preference."""
    got: dict[str, list[str]] = {}
    for kind in KINDS:
        got.setdefault(key(kind), []).append("KIND")
    for name in terminals(grammar_text()):
        if name not in _NOT_WORDS:
            got.setdefault(key(name), []).append(name)
    for word, name in _GROUPED.items():
        got.setdefault(key(word), []).insert(0, name)
    for kind in KINDS:
        for row in table(kind):
            word = key(row.word)
            if word and word != "at" and " " not in word and "AWORD" not in got.get(word, []):
                got.setdefault(word, []).append("AWORD")
    return {k: tuple(v) for k, v in got.items()}


def unquote(text: str) -> str:
    """The text between double quotes."""
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] == "n" else m[1], text[1:-1])


def remark_at(line: str) -> int:
    """Where the remark of a line begins (its end where there is none): a `#` within a text, a quoted name or
    the name of a pair begins none."""
    at = 0
    while at < len(line):
        if line[at] == "#":
            return at
        found = TOKEN.match(line, at)
        at = found.end() if found and not found["SPACE"] else at + 1
    return len(line)


def _fail(state: LexerState, at: int, line: int) -> UnexpectedCharacters:
    text: Any = state.text
    source = text.text if hasattr(text, "text") else text
    return UnexpectedCharacters(source, at, line, at + 1)  # type: ignore[no-untyped-call]


def takes(parser_state: Any, terminal: str) -> bool:
    """Would the parser shift this token now? Follows its reductions: LALR look-aheads alone say too much."""
    table, stack = parser_state.parse_conf.parse_table.states, list(parser_state.state_stack)
    while terminal in table[stack[-1]]:
        action, target = table[stack[-1]][terminal]
        if action is Shift:
            return True
        if size := len(target.expansion):
            del stack[-size:]
        stack.append(table[stack[-1]][target.origin.name][1])
    return False


class SheetLexer(Lexer):
    """A contextual lexer: among the tokens a word may be, the first the parser can use now."""

    __future_interface__ = 1

    def __init__(self, conf: Any) -> None:
        self.words = words()

    def lex(self, lexer_state: LexerState, parser_state: Any) -> Iterator[Token]:
        """Tokens of one line."""
        text: Any = lexer_state.text
        source: str = text.text if hasattr(text, "text") else text
        at, after_dot = 0, False
        while at < len(source):
            if after_dot:
                match = _TERM.match(source, at)
                if match is None:
                    raise _fail(lexer_state, at, 1)
                yield self._token("TERM", match[0].strip("`"), at, match.end())
                at, after_dot = match.end(), False
                continue
            match = TOKEN.match(source, at)
            if match is None:
                raise _fail(lexer_state, at, 1)
            start, at = at, match.end()
            group = next(g for g in _GROUPS if match[g] is not None)
            if group == "SPACE":
                continue
            token = self._classify(group, match, start, at, parser_state)
            after_dot = token.type == "DOT" or (token.type == "MINUS" and start > 0)
            yield token

    def _token(self, kind: str, value: Any, start: int, end: int) -> Token:
        return Token(kind, value, start_pos=start, line=1, column=start + 1, end_line=1, end_column=end + 1)

    def _classify(self, group: str, match: re.Match[str], start: int, end: int, state: Any) -> Token:
        text = match[0]
        if group == "TEXT":
            return self._token("TEXT", text, start, end)
        if group in ("QUOTED", "PAIR"):
            return self._token("NAME", text.strip("`"), start, end)
        if group == "QTY":
            return self._token("QTY", text, start, end)
        if group == "WORD":
            for name in self.words.get(key(text), ()):
                if takes(state, name):
                    return self._token(name, text, start, end)
            return self._token("NAME", text, start, end)
        if group == "PUNCT":
            return self._token(_PUNCT[text], text, start, end)
        return self._token(group, text, start, end)


_GROUPS = ("SPACE", "TEXT", "QUOTED", "DASHES", "QTY", "PAIR", "WORD", "NUMBER", "PUNCT")


def quantity(text: str) -> Quantity:
    """The quantity a QTY token stands for."""
    match = TOKEN.match(text)
    assert match is not None
    return Quantity(Decimal(match["num"].replace(",", ".")), match["unit"])
