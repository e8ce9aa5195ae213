"""An open joint beside a bridge reads as a drawing that is wrong, and that is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.model import Fault, Term
from amptrail.cli.main import main
from amptrail.faults import catalogue
from amptrail.faults.hypothesis import Hypothesis as Cause
from amptrail.jobs.judging.drawn import drawn_elsewhere
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import parse

DRAWN = """vehicle "Two work lamps"
place cab 1 min
phase ignition-on 10 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm at cab
fuse F1 15 A at cab
fuse F2 15 A at cab
switch SW closed in ignition-on at cab
connector X1 rows "1 2" at cab
lamp L1 12 V 21 W at cab
lamp L2 12 V 21 W at cab
ground G1 at cab
path BAT.+ -- [W1: RD 2.5 mm2 1 m] -- F1 -- SW -- [W2: YE 1.5 mm2 4 m] -- X1.1 -- L1 -- [W3: 1 mm2 1 m] -- G1
path W1.out -- F2 -- [W4: RD 1.5 mm2 1 m] -- X1.2 -- L2 -- [W5: BN 1.5 mm2 1 m] -- G1
path BAT.- -- [W6: BK 16 mm2 0.5 m] -- body
must one: L1.in to L1.out 9 V or more in ignition-on
must two: L2.in to L2.out 9 V or more in asleep
"""
READ = """L1.in in asleep meter 12.50 V
W2.in in asleep meter 0.00 V
L1.in in ignition-on meter 12.45 V
W2.in in ignition-on meter 12.60 V
with F1 pulled, F2 pulled
L1.in in asleep meter 12.50 V
L1.in in ignition-on meter 12.50 V
W2.in in ignition-on meter 0.00 V
"""


def _cause(*faults: Fault) -> Cause:
    return Cause(str(faults), faults, 0.1, "", "", 1.0)


def test_only_an_open_joint_beside_a_bridge_at_one_of_its_sides_is_a_drawing_that_is_wrong() -> None:
    circuit = parse(DRAWN)
    opened = _cause(Fault("open", Term("W2", "")))
    beside = _cause(Fault("to_point", Term("W2", "out"), to=Term("F2", "out")))
    across = _cause(Fault("to_point", Term("W2", "out"), to=Term("W2", "in")))
    away = _cause(Fault("to_point", Term("L2", "out"), to=Term("W1", "in")))
    said = drawn_elsewhere(circuit, (opened, beside), 0.1)
    assert said is not None
    assert "joined to" in said
    assert "the drawing may be wrong there" in said
    for causes, ohm in (
        ((opened, beside), 30.0),  # a leak, no joint
        ((opened, across), 0.1),  # the bridge takes the place of what is open
        ((opened, away), 0.1),
        ((opened,), None),
        ((beside, away), 0.1),
    ):
        assert drawn_elsewhere(circuit, causes, ohm) is None


def test_every_pair_of_the_catalogue_gets_an_answer() -> None:
    """Crossed pins, floods and modules among them."""
    circuit = parse(DRAWN)
    causes = [c for c in catalogue(circuit) if c.faults]
    told = [drawn_elsewhere(circuit, (a, b), 0.1) for a in causes for b in causes[::3] if a is not b]
    assert any(told)


def test_suspects_say_so_beside_the_pair() -> None:
    """L1 is fed whatever is pulled or switched, and W2 is not: two faults, or W2 is not where it is drawn."""
    told = suspects(DRAWN, READ)
    first = told["suspects"][0]
    assert {f["mode"] for f in first["faults"]} == {"open", "to_supply"}
    assert first["drawn"].endswith("joined to BAT.+ and not to SW.out: the drawing may be wrong there")
    assert all(s["drawn"] is None for s in told["suspects"] if len(s["faults"]) == 1)


def test_the_terminal_says_so_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "two.sheet").write_text(DRAWN, encoding="utf-8")
    (tmp_path / "two.readings").write_text(READ, encoding="utf-8")
    assert main(["suspects", str(tmp_path / "two.sheet"), str(tmp_path / "two.readings")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "the drawing may be wrong there" in told
    assert "No single cause gives all that was read" in told


def test_only_where_no_single_cause_explains_is_the_drawing_to_be_looked_at_first() -> None:
    assert not suspects(DRAWN, READ)["one_cause"]["explains"]
    one = "\n".join(READ.splitlines()[:1])
    assert suspects(DRAWN, one)["one_cause"] == {"explains": True, "words": ""}
