"""Lines whose first words are not the notation's: what was meant, told with an example of the whole line."""

from __future__ import annotations

import re
from collections.abc import Sequence

from lark.exceptions import UnexpectedToken

from amptrail.circuit.model import key
from amptrail.errors import Problem, nearest
from amptrail.sheet.lexer import TOKEN

# what the same part is called elsewhere, in English and in German
OTHER_WORDS = {
    "bulb": "lamp", "light": "lamp", "globe": "lamp", "lampe": "lamp", "birne": "lamp",
    "earth": "ground", "gnd": "ground", "mass": "ground", "masse": "ground",
    "plug": "connector", "socket": "connector", "stecker": "connector",
    "fan": "motor", "blower": "motor", "pump": "motor", "pumpe": "motor", "wiper": "motor",
    "horn": "load", "buzzer": "load", "radio": "load",
    "valve": "solenoid", "injector": "solenoid", "magnet": "solenoid",
    "ecu": "module", "controller": "module", "steuergeraet": "module", "steuergerät": "module",
    "breaker": "polyfuse", "sicherung": "fuse", "fusible": "link",
    "button": "switch", "contact": "switch", "schalter": "switch", "taster": "switch",
    "generator": "alternator", "dynamo": "alternator", "lichtmaschine": "alternator",
    "accumulator": "battery", "thermistor": "sensor", "potentiometer": "pot", "glow": "heater",
}  # fmt: skip
# what the same figure of a line is called elsewhere
OTHER_ATTRIBUTES = {
    "pwm": "duty", "max": "limit", "delay": "held", "timer": "held", "for": "held", "when": "while",
    "if": "while", "until": "while", "rated": "runs", "stall": "breaks", "using": "with",
}  # fmt: skip
COMMON = ("battery", "fuse", "switch", "relay", "lamp", "motor", "connector", "ground")
LINE = "path BAT.+ -- F1 -- [W1: 1.5 mm2 2 m] -- WORK -- body"
READING = "PUMP.in in running meter 12.4 V"
SEEN = "PUMP in running does not work"
_BEGINS = ("battery", "with", "without", "worked", "my", "mine", "shop", "customer")
_PHASES = ("ignition-on", "after-run")


def first_word(text: str, e: UnexpectedToken, line: int, openings: Sequence[str]) -> Problem | None:
    """`fuze F2 15 A` reads as the beginning of `MODULE signal while ...`, `bulb` as that of `MODULE.pin`: the
    slip is in the first word."""
    wanted = set(e.accepts or e.expected)
    match = TOKEN.match(text.lstrip())
    first = match["WORD"] if match else None
    alone = first is not None and text.split("#")[0].strip() == first
    if first is None or not (alone or wanted == {"WHILE"}) or nearest(str(e.token), ["while"]):
        return None
    if key(first) in openings or (alone and str(e.token)):
        return None
    column = len(text) - len(text.lstrip()) + 1
    near = OTHER_WORDS.get(key(first)) or nearest(first, openings)
    if near:
        return Problem("syntax", f"no line begins with {first}", line, column, "error", (), near,
                       f"write {near} instead, or `while` after the signal of a module {first}")  # fmt: skip
    if e.token.type == "NUMBER":
        return None  # its unit is missing, wherever it stands
    at_end = e.token.type == "$END"
    told = f"{e.token} is not expected here"
    if at_end:
        told = f"{first} begins no line" if alone else "the line ends too early"
    return Problem(
        "syntax", told, line, column if alone else e.token.column or column, "error", ("while",), None,
        f"begin with a kind of part ({', '.join(COMMON)} ...), join parts, such as: {LINE}, or write "
        f"`while` after the signal of a module",
    )  # fmt: skip


def unjoined(text: str, e: UnexpectedToken, line: int) -> Problem | None:
    """`F1.out -- LAMP`: a run of wire without its `path`."""
    if str(e.token) != "--" or not re.match(r"\s*[^\s:]+\s*--", text):
        return None
    return Problem("syntax", "a run of wire begins with path", line, 1, "error", ("path",), "path",
                   f"write: path {text.split('#')[0].strip()}")  # fmt: skip


def reading_begun(text: str, e: UnexpectedToken, line: int) -> Problem | None:
    """`batery 12.5 V`, `shopp says ...`: read as the beginning of a point, the slip is in the first word."""
    found = re.match(r"\s*([^\W\d]\w*)(?=\s)(?:\s+says\s+\S+?(?=\.|\s))?\s*", text)
    if found is None or found.end() != (e.token.column or 0) - 1:
        return None
    near = nearest(found[1], ("shop", "customer", "mine") if " says " in found[0] else _BEGINS)
    if near is None or near == key(found[1]):
        return None
    return Problem("syntax", f"no line begins with {found[1]}", line, found.start(1) + 1, "error", _BEGINS,
                   near, f"write {near} instead")  # fmt: skip


def reading_shape(text: str, e: UnexpectedToken, line: int, expected: tuple[str, ...]) -> Problem | None:
    """`PUMP dead`, `PUMP.in 12.4 V`, `... in ignition on ...`: the line lacks its phase, or cut it in two."""
    wanted = set(e.accepts or e.expected)
    at_end = e.token.type == "$END"
    column = ((e.token.end_column if at_end else e.token.column) or 1) if text.strip() else 1
    before = text[: column - 1].split()
    halves = f"{before[-1]}-{e.token}" if before else ""
    if whole := next((p for p in _PHASES if key(p) == key(halves)), None):
        return Problem("syntax", f"{before[-1]} {e.token} is one word", line, column, "error", expected,
                       whole, f"write {whole} instead")  # fmt: skip
    if "IN" in wanted and not nearest(str(e.token), ["in", "says", "repaired", "replaced"]):
        message = "the line ends too early" if at_end else f"{e.token} is not expected here"
        return Problem("syntax", message, line, column, "error", expected, None,
                       f"say in which phase, such as: {READING}, or: {SEEN}")  # fmt: skip
    if not before:
        return Problem("syntax", f"no line begins with {e.token}", line, column, "error", expected, None,
                       f"begin with the point or the part, such as: {READING}")  # fmt: skip
    return None
