"""One line to its tree, syntax errors turned into Problems a person can mend."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from lark import Token, Tree
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from amptrail.circuit.model import key
from amptrail.errors import InputError, Problem, nearest
from amptrail.reference.words import colours
from amptrail.sheet import slips, unit_slips
from amptrail.sheet.grammar import parser
from amptrail.sheet.lexer import TOKEN, quantity, words

FEW = 3  # so many choices are told in the remedy itself
MOST = 1e15  # no figure of a vehicle, in any unit, is further from nothing than this
_SAY = {
    "NAME": "a name",
    "TERM": "a terminal",
    "TEXT": 'a "text"',
    "QTY": "a number with its unit",
    "$END": "end of line",
    "KIND": "a kind of part",
    "AWORD": "an attribute",
    "DASHES": "--",
    "COLON": ":",
    "SEMI": ";",
    "COMMA": ",",
    "DOT": ".",
    "LSQB": "[",
    "RSQB": "]",
    "LPAR": "(",
    "RPAR": ")",
    "MINUS": "-",
    "SIDE": "low-side or high-side",
    "BUS": "can-high or can-low",
    "NAME_OF": "name",
    "NUMBER": "a number",
    "TOOL": "an instrument (meter, lamp, loaded, clamp ...)",
    "VALUE": "a word for what it showed (bright, dim, dark, nothing ...)",
    "QUALITY": "unsure, fluctuates, intermittent or old",
    "WHOSE": "mine, shop or customer",
}


def tree_of(text: str, start: str, line: int = 1) -> Tree[Any]:
    """The tree of one line; InputError with line and column when it does not fit the grammar."""
    try:
        tree: Tree[Any] = parser().parse(text, start=start)
    except UnexpectedToken as e:
        raise InputError((_slip(text, e, start, line) or _token_problem(text, e, line),)) from None
    except UnexpectedCharacters as e:
        raise InputError((_character_problem(text, e, line),)) from None
    except UnexpectedInput as e:  # pragma: no cover - lark has no other kind today
        raise InputError((Problem("syntax", str(e), line, 1),)) from None
    if "e" in text.lower() or len(text) > len(str(MOST)):
        _bounded(tree, line)
    return tree


def _bounded(tree: Tree[Any], line: int) -> None:
    """Refuse a figure that a float or a table of limits could not hold, wherever in a line it stands."""
    for token in tree.scan_values(lambda v: isinstance(v, Token) and v.type == "QTY"):
        try:
            fits = abs(quantity(str(token)).si) <= MOST
        except ArithmeticError:
            fits = False
        if not fits:
            raise InputError((
                Problem("out-of-range", f"{token} is no figure of a vehicle", line, token.column or 1,
                        remedy="check the figure and its unit: more than 1e15 of anything is a slip"),
            ))  # fmt: skip


@cache
def _openings() -> tuple[str, ...]:
    """Every word a statement may begin with."""
    table = parser().parser.parser._parse_table
    first = table.states[table.start_states["statement"]]
    return tuple(w for w, tokens in words().items() if any(t in first for t in tokens))


def _in_two(text: str, e: UnexpectedToken, wanted: list[str]) -> str | None:
    """`can high` for `can-high`: the word meant where a word was written as two."""
    rest = text[(e.token.end_column or 1) - 1 :].split()
    whole = key(f"{e.token}-{rest[0]}") if rest else ""
    return f"{e.token}-{rest[0]}" if any(t in wanted for t in words().get(whole, ())) else None


def _expected(e: UnexpectedToken) -> tuple[str, ...]:
    return tuple(_SAY.get(w, w.lower().replace("_", "-")) for w in sorted(e.accepts or e.expected))


def _slip(text: str, e: UnexpectedToken, start: str, line: int) -> Problem | None:
    """A line that began as none does; None: the slip is further along."""
    if start == "reading":
        return slips.reading_begun(text, e, line) or slips.reading_shape(text, e, line, _expected(e))
    if start == "statement":
        return slips.first_word(text, e, line, _openings()) or slips.unjoined(text, e, line)
    return None


def _token_problem(whole: str, e: UnexpectedToken, line: int) -> Problem:
    wanted = sorted(e.accepts or e.expected)
    says = _expected(e)
    text = str(e.token)
    at_end = e.token.type == "$END"
    column = (e.token.end_column or 1) if at_end else e.token.column or 1
    fit = [w for w in words() if any(t in wanted for t in words()[w])]
    other = slips.OTHER_ATTRIBUTES.get(key(text), "")
    near = None if at_end else _in_two(whole, e, wanted) or (other if other in fit else nearest(text, fit))
    if e.token.type == "NUMBER" and (slip := unit_slips.behind(whole, e, line)):
        return slip
    if e.token.type == "NUMBER":
        return Problem(
            "no-unit",
            f"{text} has no unit",
            line,
            column,
            "error",
            says,
            None,
            f"write the unit after it, such as {text} V or {text} ohm",
        )
    if key(text) in words() and "NAME" in wanted:
        return Problem(
            "reserved",
            f"{text} is a statement word and cannot be a name here",
            line,
            column,
            "error",
            says,
            f"{text}_1",
            f"call it {text}_1, or write `{text}` in back-quotes",
        )
    unsure = not at_end and (near is None or key(near) != key(text))
    if unsure and (slip := unit_slips.instead(whole, column, text, line)):
        return slip
    message = "the line ends too early" if at_end else f"{text} is not expected here"
    which = " or ".join(says) if len(says) <= FEW else "one of these"
    place = "here" if at_end else "before it"
    remedy = f"write {near} instead" if near else f"write {which} {place}"
    if says == ("end of line",):
        remedy = f"leave out {text} and what follows, or put it on a line of its own"
    return Problem("syntax", message, line, column, "error", says, near, remedy)


def _character_problem(text: str, e: UnexpectedCharacters, line: int) -> Problem:
    at = e.column - 1
    shown = text[at : at + 12].split(" ")[0]
    pair = re.search(r"([^\W\d_]+)$", text[:at]), re.match(r"/([^\W\d_]+)", text[at:])
    if pair[0] and pair[1]:
        codes = {v: k for k, v in colours().items()}
        both = "".join(codes.get(x[1].lower(), x[1]) for x in pair if x)
        return Problem("two-colours", f"{pair[0][1]}{pair[1][0]} cannot be read", line, e.column,
                       remedy=f"write two colours together: {both}")  # fmt: skip
    if text[at : at + 1] == '"':
        return Problem("open-text", "this text is never closed", line, e.column, remedy='close it with "')
    if shown[:1].isdigit() and TOKEN.match(shown) is None:
        return Problem(
            "bad-number",
            f"{shown} is neither a number with a unit nor a name",
            line,
            e.column,
            remedy="write a number, a space and its unit, such as 15 A",
        )
    return Problem(
        "bad-character",
        f"{shown!r} cannot be read",
        line,
        e.column,
        remedy="put unusual names in back-quotes and remarks after #",
    )
