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
        ("must a: L.in 9 V or more in runing", "unknown-phase", 6),
        ("# x\nmust b: L.in 9 V or more in running; 1 V or less in aslep", "unknown-phase", 7),
        ("draw aslep at most 50 mA", "unknown-phase", 6),
        ("module M\nM x while phase runing", "unknown-phase", 7),
        ("module M\nM.1 low-side d while nobody", "unknown-signal", 7),
        ("phase running 9 s\nswitch S closed in cranking\npath L.in -- S -- body", "unknown-phase", 7),
        (
            "joint J2\npath BAT.+ -- [A: 0,01 mohm] -- J2.in\npath BAT.+ -- [B: 0,02 mohm] -- J2.in",
            "ideal-loop",
            8,
        ),
        ("battery B2 24 V\npath BAT.+ -- [C: 0,01 mohm] -- B2.+\npath BAT.- -- B2.-", "batteries-tied", 6),
        ("battery B2\npath B2.+ -- L.in", "no-ground", 6),
        (
            "switch S positions off, on\npath L.in -- S.1\nphase running 3 s with S at up",
            "unknown-position",
            8,
        ),
        ("module M\nM x while nobody", "unknown-signal", 7),
        ("relay K pulls 3 V drops 7 V", "drops-above-pulls", 6),
        ("switch S positions off, on\npath L.in -- S -- body", "no-contact", 6),
        ("module M\nM.1 input a pull-down 10 kohm on at 3 V off at 5 V", "off-above-on", 6),
        ("module M\nM.1 input a pull-up 10 kohm to 5 V active low on at 4 V off at 2 V", "off-above-on", 6),
        ("switch S\ninterlock S for nothing-such", "unknown-function", 7),
        ("lamp Q\njoint R\npath Q.in -- R.in\npath Q.out -- R.out", "no-ground-path", 6),
    ],
)
def test_each_fault_of_a_drawing_is_found_where_it_stands(more: str, code: str, line: int) -> None:
    assert (code, line) in {(p.code, p.line) for p in check(parse(BASE + more))}


def test_no_battery_is_an_error() -> None:
    assert [p.code for p in check(parse("lamp L")) if p.severity == "error"] == ["no-battery"]


@pytest.mark.parametrize(
    "more",
    [
        "battery B2 24 V\npath BAT.+ -- [C: 10 mm2 1 m] -- B2.+\npath BAT.- -- B2.-",
        "battery B2 12.6 V\npath BAT.+ -- [C: 0,01 mohm] -- B2.+\npath BAT.- -- B2.-",
        "lamp M\npath BAT.+ -- [A: 2 mohm] -- M -- body\npath BAT.+ -- [B: 2 mohm] -- M.in",
        "phase go as cranking 3 s\nswitch S closed in cranking\nlamp M\npath BAT.+ -- S -- M -- body",
        "phase go as cranking 3 s\nmust a: L.in 9 V or more in cranking",
    ],
)
def test_what_is_ordinary_is_not_complained_of(more: str) -> None:
    assert check(parse(BASE + more)) == []


def test_all_problems_of_the_drawing_come_at_once_errors_first() -> None:
    found = check(parse("battery BAT\nlamp L\nswitch S\ninterlock S for x\nmust a: L.in 9 V or more in q\n"))
    severities = [p.severity for p in found]
    assert severities == sorted(severities)
    assert {"no-ground", "unknown-function", "unknown-phase", "unwired"} <= {p.code for p in found}
