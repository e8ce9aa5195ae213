"""What a parser cannot see line by line."""

from __future__ import annotations

import pytest

from amptrail.circuit.checks import check
from amptrail.sheet import parse

BASE = "battery BAT\nlamp L 12 V 5 W\njoint J\npath BAT.+ -- L -- body\npath BAT.- -- J -- body\n"


def test_a_sound_circuit_has_no_problem() -> None:
    assert check(parse(BASE)) == []


@pytest.mark.parametrize(
    ("more", "code", "line"),
    [
        ("net x: L.in, L.out", "bridged", 2),
        ("fuse F9 3 A", "unwired", 6),
        ("fuse F9 3 A\npath L.in -- F9", "dangling", 6),
        ("net x: BAT.+, BAT.-", "battery-shorted", 1),
        ("must a: L.in 9 V or more in runing", "unknown-phase", 0),
        (
            "switch S positions off, on\npath L.in -- S.1\nphase running 3 s with S at up",
            "unknown-position",
            8,
        ),
        ("module M\nM x while nobody", "unknown-signal", 6),
        ("switch S\ninterlock S for nothing-such", "unknown-function", 0),
        ("lamp Q\njoint R\npath Q.in -- R.in\npath Q.out -- R.out", "no-ground-path", 6),
    ],
)
def test_each_fault_of_a_drawing_is_found_where_it_stands(more: str, code: str, line: int) -> None:
    assert (code, line) in {(p.code, p.line) for p in check(parse(BASE + more))}


def test_no_battery_is_an_error() -> None:
    assert [p.code for p in check(parse("lamp L")) if p.severity == "error"] == ["no-battery"]
