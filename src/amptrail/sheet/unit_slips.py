"""Words behind a number that are no unit of the notation: which unit was meant, or which area a gauge has."""

from __future__ import annotations

import re

from lark.exceptions import UnexpectedToken

from amptrail.circuit.model import key
from amptrail.errors import Problem, nearest
from amptrail.reference.wire import gauge_mm2
from amptrail.sheet.lexer import words
from amptrail.units import USUAL, WORDS

_SPOKEN = {
    "sqmm": "mm2", "qmm": "mm2",
    "volt": "V", "millivolt": "mV", "amp": "A", "ampere": "A", "milliamp": "mA", "ohm": "ohm", "watt": "W",
    "second": "s", "sec": "s", "minute": "min", "metre": "m", "meter": "m", "hour": "h",
}  # fmt: skip


def behind(whole: str, e: UnexpectedToken, line: int) -> Problem | None:
    """`14 AWG`, `1.5 sqmm`: a number with a word behind it that is no unit."""
    at = e.token.end_column or 1
    found = re.match(r"\s*([^\W\d]\w*)", whole[at - 1 :])
    if found is None or key(found[1]) in words():
        return None
    if key(found[1]) == "awg":
        return _gauge(str(e.token), found[1], line, at + found.start(1))
    return _problem(found[1], line, at + found.start(1))


def instead(whole: str, column: int, text: str, line: int) -> Problem | None:
    """A word in the place of a unit, if it is near one."""
    if not re.search(r"(?:^|[\s>])[+-]?\d+(?:[.,]\d+)?\s*$", whole[: column - 1]) or not _meant(text):
        return None
    return _problem(text, line, column)


def _meant(word: str) -> str | None:
    return _SPOKEN.get(key(word).rstrip("s")) or nearest(word, WORDS)


def _problem(word: str, line: int, column: int) -> Problem:
    unit = _meant(word)
    remedy = f"write {unit} instead" if unit else "write one of these units"
    return Problem("unit", f"{word} is not a unit", line, column, "error", USUAL, unit, remedy)


def _gauge(number: str, word: str, line: int, column: int) -> Problem:
    area = gauge_mm2(number)
    remedy = f"write the area: {number} AWG is {area:.2g} mm2" if area else "write the area in mm2"
    return Problem("unit", f"{word} is not a unit", line, column, "error", USUAL, "mm2", remedy)
