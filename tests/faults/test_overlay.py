"""Faults as changes: what is changed, and that every cause of the catalogue can be laid on a network."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.model import Circuit, Fault, Term
from amptrail.errors import InputError
from amptrail.faults import catalogue, changes
from amptrail.sheet import parse, parse_fault
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind, stack

SHEET = (Path(__file__).parent / "bench.sheet").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return parse(SHEET)


def kinds(circuit: Circuit, text: str) -> list[Kind]:
    net = assemble(circuit)
    return [c.kind for f in parse_fault(circuit, text) for c in changes(net, f)]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("W1 open", [Kind.OPEN]),
        ("K1.coil open", [Kind.OPEN]),
        ("X1.1 resistance 2 ohm", [Kind.SERIES]),
        ("X1.1.b to ground 50 mohm", [Kind.BRIDGE]),
        ("X1.1.a to X1.2.a 150 ohm", [Kind.BRIDGE]),
        ("X1.1 to supply", [Kind.BRIDGE]),
        ("K1 stuck on", [Kind.STUCK_ON]),
        ("S1 stuck off", [Kind.STUCK_OFF]),
        ("ECM.mr dead", [Kind.DRIVER_DEAD]),
        ("ECM.15 dead", [Kind.INPUT_DEAD]),
        ("ECM.mr always on", [Kind.DRIVER_ON]),
        ("ECM stays awake", [Kind.STAYS_AWAKE]),
        ("ECM woken", [Kind.STAYS_AWAKE]),
        ("ECM dead", [Kind.MODULE_DEAD]),
        ("M1 seized", [Kind.SEIZED]),
        ("BAT has emf 11.9 V", [Kind.PARAM]),
        ("F1 wrong rating 30 A", [Kind.PARAM]),
        ("K1 missing", [Kind.UNPLUG]),
        ("S1 interlock open", [Kind.SWITCH_HELD]),
        ("S1 instrument wrong", []),
        ("X1.1.b swapped with X1.2.b", [Kind.OPEN, Kind.OPEN, Kind.BRIDGE, Kind.BRIDGE]),
    ],
)
def test_each_mode(circuit: Circuit, text: str, wanted: list[Kind]) -> None:
    assert kinds(circuit, text) == wanted


def test_every_cause_can_be_laid_on_the_network(circuit: Circuit) -> None:
    net = assemble(circuit)
    for h in catalogue(circuit):
        told = tuple(c for f in h.faults for c in changes(net, f, 1.0))
        assert told or not h.faults, h.id
        stack(net, [told])


def test_the_severity_given_serves_only_where_the_fault_has_none(circuit: Circuit) -> None:
    net = assemble(circuit)
    at = Term("W2", "")
    assert changes(net, Fault("resistance", at), 7.0) == (Change(Kind.SERIES, net.branch(at), value=7.0),)
    assert changes(net, Fault("resistance", at, ohm=2.0), 7.0)[0].value == 2.0


def test_crossed_wires_cross(circuit: Circuit) -> None:
    net = assemble(circuit)
    got = changes(net, Fault("swapped", Term("X1", "1.b"), Term("X1", "2.b")))
    a = {name: net.node(Term("X1", name)) for name in ("1.a", "1.b", "2.a", "2.b")}
    bridges = [{c.target, c.other} for c in got if c.kind == Kind.BRIDGE]
    assert bridges == [{a["1.a"], a["2.b"]}, {a["2.a"], a["1.b"]}]


@pytest.mark.parametrize(
    "fault",
    [
        Fault("resistance", Term("W1", ""), ohm=-1.0),
        Fault("swapped", Term("X1", "1")),
        Fault("has", Term("BAT", "")),
        Fault("open", Term("NOBODY", "")),
        Fault("to_ground", Term("X1", "99")),
        Fault("dead", Term("ECM", "99")),
        Fault("always_on", Term("ECM", "15")),
        Fault("to_point", Term("X1", "1")),
        Fault("wrong_rating", Term("W1", "")),
    ],
)
def test_a_fault_that_cannot_be_is_a_clear_error(circuit: Circuit, fault: Fault) -> None:
    with pytest.raises(InputError):
        changes(assemble(circuit), fault)
