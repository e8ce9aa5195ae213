"""Where each statement of a sheet stands, kept beside the circuit, so that checks can say it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping

from amptrail.circuit.model import Circuit, key
from amptrail.errors import Problem

_PLACES: OrderedDict[Circuit, Mapping[tuple[str, str], tuple[int, int]]] = OrderedDict()


def remember(circuit: Circuit, places: Mapping[tuple[str, str], tuple[int, int]]) -> None:
    """Keep where each statement stands, outside the circuit: ("part", "k4") -> (line, column)."""
    _PLACES[circuit] = places
    while len(_PLACES) > 64:
        _PLACES.popitem(last=False)


def at(circuit: Circuit, kind: str, name: str) -> tuple[int, int]:
    """(line, column) of a statement, (0, 0) when the circuit was read from no sheet."""
    return _PLACES.get(circuit, {}).get((kind, key(name)), (0, 0))


def part_problem(
    c: Circuit, part: str, code: str, message: str, remedy: str, severity: str = "error"
) -> Problem:
    """A problem at the line that declares a part."""
    line, column = at(c, "part", part)
    return Problem(code, message, line, column, severity, remedy=remedy)  # type: ignore[arg-type]
