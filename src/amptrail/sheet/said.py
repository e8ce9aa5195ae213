"""A fault and a point as a person says them: the words of the trade where the notation has words of its own.

For screens and papers only: what is said here is not read back.
"""

from __future__ import annotations

import re

OHMS = re.compile(r"(\d+(?:\.\d+)?(?:e[+-]?\d+)?) (m|k|M)?ohm")
WITH_FIGURE = re.compile(r"\b(resistance|to ground|to supply) \d[\d.e+-]* (?:m|k|M)?ohm")
UNNAMED = re.compile(r"([\w.+\-]+)>([\w.+\-]+)")
# what a value of the notation means, in the order it is looked for
MEANT = (
    (re.compile(r"(\S+) has emf (\d+\.?\d?)\d*(?= V)"), r"\1 at rest only \2"),
    (re.compile(r"(\S+) has inner (?=\d)"), r"\1 inner resistance "),
    (re.compile(r"(\S+) has coil (?=\d)"), r"\1 winding only "),
    (re.compile(r"(\S+) woken\b"), r"something wakes \1"),
    (re.compile(r"(\S+) has rated (\S+ \S+)"), r"\1 wrong bulb, \2"),
)


def _end(a: str, b: str) -> tuple[str, str]:
    """Of `A>B.out`: B, and that end's point; of `A>B` no point."""
    for at, end in ((b.removesuffix(".out"), ".out"), (a, ".in")):
        whole = b.removesuffix(end)
        if b.endswith(end) and ("." in whole or whole == "body"):
            return whole, at
    return b, ""


def wires(told: str) -> str:
    """`F1.out>K1.30`, the name of a run of wire that has none, as a person says it."""

    def said(m: re.Match[str]) -> str:
        to, at = _end(m[1], m[2])
        return f"wire {m[1]} to {to}" + (f", at {at}" if at else "")

    return UNNAMED.sub(said, told)


def called(point: str) -> str:
    """A point at the end of a run of wire without a name: by the part it is at."""
    found = UNNAMED.fullmatch(point.replace("`", ""))
    return (_end(found[1], found[2])[1] or point) if found else point


def _words(fault: str) -> str:
    """No quotes that only the notation needs, no values by their names."""
    told = fault.replace("`", "")
    for meant, said in MEANT:
        told = meant.sub(said, told)
    return wires(told)


def rounded(fault: str, about: str = "") -> str:
    """A fault with two figures of an estimate."""

    def two(m: re.Match[str]) -> str:
        figure = float(f"{float(m[1]):.2g}")
        return f"{about}{figure:g} {m[2] or ''}ohm"

    return OHMS.sub(two, _words(fault))


def plain(fault: str) -> str:
    """The same where it is read as a sentence: `about` says that it is an estimate."""
    return rounded(fault, "about ")


def short(fault: str) -> str:
    """The same without its figure: where it is and how it fails."""
    return rounded(WITH_FIGURE.sub(r"\1", fault))
