"""The body and the battery: a strap is taken where the sheet has a body and no path that joins it."""

from __future__ import annotations

import pytest

from amptrail import solve
from amptrail.circuit.model import BODY, Term
from amptrail.circuit.strap import metal
from amptrail.faults import changes
from amptrail.sheet import parse, parse_fault, print_sheet
from amptrail.sheet.parse import parse_with_warnings
from amptrail.solve import assemble

LAMP = "phase running 9 s\nbattery BAT 12.6 V 10 mohm\nlamp L 12 V 21 W\nground G2\n"


def _volts(text: str, fault: str = "") -> float:
    circuit = parse(text)
    net = assemble(circuit)
    lane = tuple(c for f in (parse_fault(circuit, fault) if fault else ()) for c in changes(net, f))
    runs = solve.run(net, [lane])
    got = solve.read(net, runs, [solve.Tap(Term("L", "in"), Term("L", "out"), "meter")])
    return float(got.value[0, 0, 0])


def test_a_lamp_on_a_ground_burns_and_the_answer_says_what_was_assumed() -> None:
    circuit, told = parse_with_warnings(LAMP + "path BAT.+ -- L -- G2\n")
    assert [(p.code, p.severity) for p in told] == [("strap-assumed", "note")]
    assert _volts(LAMP + "path BAT.+ -- L -- G2\n") == pytest.approx(12.6, abs=0.1)
    (strap,) = [p for p in circuit.parts if p.kind == "joint"]
    assert strap.name == "STRAP" and strap.said("ohm") == 0.0015
    assert parse(print_sheet(circuit)) == circuit


@pytest.mark.parametrize(
    "more",
    [
        "path BAT.+ -- L -- G2\npath BAT.- -- [25 mm2 1 m] -- body\n",
        "splice ENG\npath BAT.+ -- L -- G2\npath BAT.- -- ENG -- [25 mm2 1 m] -- body\n",
        "switch MASTER closed in running\npath BAT.+ -- L -- G2\npath body -- MASTER -- BAT.-\n",
        "resistor SHUNT 1 mohm\npath BAT.+ -- L -- G2\npath BAT.- -- SHUNT -- body\n",
        "path BAT.+ -- L -- G2\nnet earth: BAT.-, body\n",
    ],
)
def test_no_strap_beside_what_the_sheet_says(more: str) -> None:
    assert not parse_with_warnings(LAMP + more)[1]


def test_a_load_is_no_strap_and_of_batteries_in_series_the_lower_one_is_joined() -> None:
    loads = LAMP + "lamp M\npath BAT.+ -- L -- BAT.-\npath BAT.+ -- M -- G2\n"
    assert [p.code for p in parse_with_warnings(loads)[1]] == ["strap-assumed"]
    series = (
        "battery UP\nbattery DOWN\nlamp L\npath UP.+ -- L -- body\npath UP.- -- [W1: 25 mm2 1 m] -- DOWN.+\n"
    )
    assert "DOWN.-" in parse_with_warnings(series)[1][0].message


def test_a_name_that_is_taken_is_left_alone() -> None:
    circuit = parse(LAMP + "fuse STRAP 5 A\npath BAT.+ -- STRAP -- L -- G2\n")
    assert [p.name for p in circuit.parts if p.kind == "joint"] == ["BODY_STRAP"]


def test_a_short_in_a_sheet_without_a_body_is_one_to_battery_minus() -> None:
    bare = LAMP.replace("ground G2\n", "") + "path BAT.+ -- [W1: 1 mm2 5 m] -- L -- BAT.-\n"
    assert metal(parse(bare)) == Term("BAT", "-")
    assert _volts(bare, "L.in to ground 10 mohm") < 2.0
    assert metal(parse("laws oracle-1\n" + bare)) == BODY
