"""Everything the program says about bad input: one shape, from the parser to the page.

AmptrailError
  +-- InputError       the input is wrong: carries every Problem found in one pass (exit status 2)
  +-- ModelError       a circuit that cannot be computed as asked (exit status 2)
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Literal

Severity = Literal["error", "warning", "note"]
_ENDLESS = re.compile(r"(\S{60})\S{50,}(\S{10})")  # a slip of the keyboard or of another format, not a name


def short(text: str) -> str:
    """What was said, with words that no screen holds cut in their middle."""
    return _ENDLESS.sub(r"\1…\2", text)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with an input, said so that a person can mend it.

    `line` and `column` count from 1 (0: no place). `expected` lists what would have been accepted,
    `nearest` the closest known name, `remedy` what to do, in one imperative sentence.
    """

    code: str
    message: str
    line: int = 0
    column: int = 0
    severity: Severity = "error"
    expected: tuple[str, ...] = ()
    nearest: str | None = None
    remedy: str = ""

    def text(self) -> str:
        """The problem as one paragraph for a person."""
        place = f"line {self.line}, column {self.column}: " if self.line else ""
        parts = [f"{self.severity}: {place}{short(self.message)}"]
        if self.expected:
            parts.append(f"  expected: {', '.join(self.expected)}")
        if self.nearest:
            parts.append(f"  did you mean: {self.nearest}")
        if self.to_do:
            parts.append(f"  do this: {short(self.to_do)}")
        return "\n".join(parts)

    @property
    def to_do(self) -> str:
        """The remedy; where none was said, what the nearest or the expected words make of it."""
        if self.remedy or self.severity != "error":
            return self.remedy
        if self.nearest:
            return f"write {self.nearest} instead"
        return f"use one of: {', '.join(self.expected)}" if self.expected else ""


def as_row(p: Problem) -> dict[str, object]:
    """A problem as the contract shows it (docs/json.md, Envelope)."""
    return {
        "line": p.line, "column": p.column, "severity": p.severity, "code": p.code,
        "message": short(p.message), "expected": list(p.expected), "nearest": p.nearest,
        "remedy": short(p.to_do),
    }  # fmt: skip


class AmptrailError(Exception):
    """Root of every error raised on purpose."""


@dataclass
class InputError(AmptrailError):
    """The input is wrong; `problems` holds every problem found in one pass."""

    problems: tuple[Problem, ...] = field(default=())

    def __str__(self) -> str:
        return "\n".join(p.text() for p in self.problems)


class ModelError(InputError):
    """A well-formed circuit that cannot be computed as asked (ideal loop, unreachable phase …)."""


def one(code: str, message: str, **more: object) -> InputError:
    """An InputError with a single problem; keywords are those of `Problem`."""
    return InputError((Problem(code, message, **more),))  # type: ignore[arg-type]


def nearest(word: str, known: Sequence[str]) -> str | None:
    """The known name closest to `word`, compared without case and with `-` = `_`; None if none is close."""
    table = {k.lower().replace("-", "_"): k for k in known}
    hit = get_close_matches(word.lower().replace("-", "_"), list(table), n=1, cutoff=0.55)
    return table[hit[0]] if hit else None


def likest(word: str, known: Sequence[str], most: int) -> tuple[str, ...]:
    """At most so many of the known names: all of them as they come, or those most like the word."""
    if len(known) <= most:
        return tuple(known)
    table = {k.lower().replace("-", "_"): k for k in known}
    hits = get_close_matches(word.lower().replace("-", "_"), list(table), n=most, cutoff=0.0)
    return tuple(table[h] for h in hits)


def typed(name: str) -> str:
    """A name as it is typed on a command line: in quotes where it has blanks."""
    return name if name and not set(name) & set(" \t\"'$`\\&|;<>()*?#") else f'"{name}"'
