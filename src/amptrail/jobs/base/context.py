"""A sheet text and what was computed from it, kept for as long as the process lives."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from amptrail.circuit.model import Circuit
from amptrail.errors import Problem, as_row
from amptrail.sheet import parse_with_warnings

Json = dict[str, Any]


@dataclass(frozen=True)
class Sheet:
    """A parsed sheet: its circuit, the warnings it earned, and the hash of its text."""

    circuit: Circuit
    warnings: tuple[Problem, ...]
    sha256: str


@lru_cache(maxsize=256)
def load(text: str) -> Sheet:
    """Parse a sheet text once; raises InputError with every problem."""
    circuit, warnings = parse_with_warnings(text)
    return Sheet(circuit, tuple(warnings), hashlib.sha256(text.encode()).hexdigest())


def answer(command: str, sheet: Sheet | None, body: Mapping[str, Any], *, problems: Sequence[Problem] = (),
           exit_status: int = 0) -> Json:  # fmt: skip
    """The envelope of every answer, with `body` in it."""
    told = (*(sheet.warnings if sheet else ()), *problems)
    return {
        "amptrail": 1,
        "command": command,
        "laws": sheet.circuit.laws if sheet else None,
        "sheet_sha256": sheet.sha256 if sheet else None,
        "exit": exit_status,
        "problems": [as_row(p) for p in told],
        **body,
    }
