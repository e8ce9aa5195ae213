"""Numbers with units: read exactly, print so that reading back gives the same float, print for people.

`3 mohm` is the float nearest 0.003 and prints as `3 mohm`. All values are SI (mm2 for areas, s for times);
unit words are those of the sheet notation.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from difflib import get_close_matches
from typing import Literal, cast, get_args

from amptrail.errors import one

Dimension = Literal["ohm", "A", "V", "W", "mm2", "m", "s", "x"]

# unit word -> (dimension, power of ten to SI) ; minutes and hours are the two that are no power of ten
_TENS: dict[str, tuple[Dimension, int]] = {
    "uohm": ("ohm", -6), "µΩ": ("ohm", -6), "mohm": ("ohm", -3), "mΩ": ("ohm", -3), "ohm": ("ohm", 0),
    "mOhm": ("ohm", -3), "Ohm": ("ohm", 0), "kOhm": ("ohm", 3), "MOhm": ("ohm", 6),
    "Ω": ("ohm", 0), "kohm": ("ohm", 3), "kΩ": ("ohm", 3), "Mohm": ("ohm", 6), "MΩ": ("ohm", 6),
    "A": ("A", 0), "mA": ("A", -3), "uA": ("A", -6), "µA": ("A", -6), "nA": ("A", -9), "V": ("V", 0),
    "mV": ("V", -3), "kV": ("V", 3), "W": ("W", 0), "mW": ("W", -3), "kW": ("W", 3), "mm2": ("mm2", 0),
    "mm²": ("mm2", 0), "m": ("m", 0), "cm": ("m", -2), "mm": ("m", -3), "s": ("s", 0), "ms": ("s", -3),
    "x": ("x", 0), "%": ("x", -2),
}  # fmt: skip
_LONG: dict[str, int] = {"min": 60, "h": 3600}
WORDS: tuple[str, ...] = (*_TENS, *_LONG)
USUAL = ("V", "mV", "A", "mA", "ohm", "mohm", "kohm", "W", "mm2", "m", "s", "min", "x")  # told as expected

# per dimension: what to print from which magnitude on, largest first
_PRINT: dict[Dimension, tuple[tuple[float, str], ...]] = {
    "ohm": ((1e6, "Mohm"), (1e3, "kohm"), (0.1, "ohm"), (0.0, "mohm")),
    "A": ((0.5, "A"), (1e-4, "mA"), (0.0, "nA")),
    "V": ((0.5, "V"), (0.0, "mV")),
    "s": ((0.1, "s"), (0.0, "ms")),
}
_PATTERN = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)\s*(\S+)\s*")


def _nearest(unit: str) -> str | None:
    # case matters here (mohm is not Mohm), so this is not the case-blind look-up of `errors`
    hit = get_close_matches(unit, WORDS, n=1)
    return hit[0] if hit else None


def dimension(unit: str) -> Dimension:
    """What a unit word measures; InputError for a word that is no unit."""
    if unit in _LONG:
        return "s"
    if unit not in _TENS:
        raise one(
            "unit", f"{unit!r} is not a unit", expected=USUAL,
            nearest=_nearest(unit), remedy="Write the number followed by its unit.",
        )  # fmt: skip
    return _TENS[unit][0]


def to_si(number: Decimal, unit: str) -> float:
    """The float nearest to `number unit` in SI."""
    dimension(unit)
    exact = number * _LONG[unit] if unit in _LONG else number.scaleb(_TENS[unit][1])
    return float(exact)


def parse(text: str, want: Dimension | None = None) -> float:
    """Read `1,5 mm2`, `85 ohm`, `-3 mV` as SI; decimal comma and point are the same."""
    hit = _PATTERN.fullmatch(text)
    if not hit:
        raise one("quantity", f"{text.strip()!r} is not a number with a unit",
                  remedy="Write a number followed by its unit, as in 1.5 mm2.")  # fmt: skip
    number, unit = Decimal(hit[1].replace(",", ".")), hit[2]
    if want is not None and dimension(unit) != want:
        raise one("unit", f"{text.strip()!r} should be in {want}, not in {unit}", expected=(want,))
    value = to_si(number, unit)
    if not math.isfinite(value):
        raise one("quantity", f"{text.strip()!r} is too large a number")
    return value


def checked(word: str) -> Dimension:
    """A dimension name from a table or a grammar; InputError for one that is none."""
    if word not in get_args(Dimension):
        raise one("unit", f"{word!r} is not a dimension", expected=get_args(Dimension))
    return cast(Dimension, word)


def digits(number: Decimal) -> str:
    """A decimal without needless zeros; an exponent only where digits would be many."""
    short = number.normalize()
    text = format(short, "f")
    return text if len(text) <= 14 else str(short).replace("E", "e").replace("e+", "e")


def _unit_for(si: float, what: Dimension) -> str:
    if si == 0:
        return what
    for least, unit in _PRINT.get(what, ((0.0, what),)):
        if abs(si) >= least:
            return unit
    return what


def exact(si: float, what: Dimension) -> str:
    """Print an SI value in a handy unit; `parse` of it gives the same float."""
    if not math.isfinite(si):
        raise one("quantity", f"{si} cannot be printed as a number")
    unit = _unit_for(si, what)
    return f"{digits(Decimal(repr(float(si))).scaleb(-_TENS[unit][1]))} {unit}"


def rounded(si: float, what: Dimension, figures: int = 3) -> str:
    """Print for people: `figures` significant figures, a handy unit; the value is rounded."""
    if not math.isfinite(si):
        return f"over range {what}"
    return exact(float(f"{si:.{figures - 1}e}"), what)


def minutes(value_min: float) -> str:
    """Print minutes as a person says them: `40 s`, `12 min`, `1 h 25 min`."""
    if value_min < 1:
        return f"{round(value_min * 60)} s"
    whole = round(value_min)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60} min"
