"""What leads to a restraint or high-voltage part is never probed, by whatever name its metal goes."""

from __future__ import annotations

import pytest

from amptrail.circuit.model import Term
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.suspects import suspects
from amptrail.jobs.solved.forbidden import meter_only, never
from amptrail.sheet import parse

SHEET = """vehicle "Airbag controller behind a fuse of its own"
phase ignition-on 20 s
phase asleep 1 h
battery BAT
fuse F1 10 A
fuse FS 5 A
fuse F2 5 A
switch KEY positions off, acc, on, start
KEY.30-15 closed at on, start
connector XS
splice S15
module SRS
lamp L 12 V 5 W
path BAT.+ -- F1 -- KEY.30-15 -- [W1: 1 mm2 1 m] -- S15 -- FS -- [W6: 0.75 mm2 1 m] -- XS.1 -- SRS.15
path S15 -- F2 -- [W7: 0.75 mm2 1 m] -- L -- body
path SRS.31 -- XS.2 -- [W8: 0.75 mm2 1 m] -- body
SRS.31 ground
SRS.15 supply 60 ohm awake 60 ohm asleep
SRS awake while always
refuse SRS restraint
"""


@pytest.mark.parametrize("point", ["SRS.15", "XS.1.a", "XS.1.b", "W6.out", "XS.2.a", "W8.in"])
def test_its_leads_are_never_probed(point: str) -> None:
    part, _, name = point.partition(".")
    assert never(parse(SHEET), Term(part, name))


def test_its_fuse_is_read_with_a_meter_and_the_rail_before_it_with_anything() -> None:
    circuit = parse(SHEET)
    fuse, rail, other = Term("FS", "out"), Term("FS", "in"), Term("F2", "out")
    assert meter_only(circuit, fuse) and not never(circuit, fuse)
    assert not any(f(circuit, t) for f in (never, meter_only) for t in (rail, other, Term("W1", "out")))
    assert never(circuit, Term("XS", "")), "its plug is not parted for a test"


def test_no_test_is_offered_there_and_a_reading_taken_there_is_told() -> None:
    got = next_tests(SHEET, "SRS in ignition-on does not answer\n", NextOptions())
    tests = [t for v in got["visits"] for t in v["tests"]]
    assert tests
    for t in tests:
        assert t["point"] is None or t["point"].partition(".")[0] not in ("SRS", "XS", "W6", "W8")
        assert not (t["point"] == "FS.out" and t["instrument"] in ("lamp", "loaded", "led"))
    told = suspects(SHEET, "W6.out in ignition-on lamp bright\nFS.out in ignition-on lamp bright\n")
    warned = [(p["code"], p["line"]) for p in told["problems"] if p["severity"] == "warning"]
    assert warned == [("never-probe", 1), ("meter-only", 2)]
