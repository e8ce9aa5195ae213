"""Faults in words: what every catalogue of faults says reads back as the same faults."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from amptrail.circuit.model import Circuit, Fault, Term
from amptrail.errors import InputError
from amptrail.exchange.convert import read_circuit
from amptrail.faults.catalogue import catalogue
from amptrail.sheet import fault_text, parse, parse_fault

ROOT = Path(__file__).parents[2]
SHEETS = sorted([*(ROOT / "demos").glob("*.sheet"), *(ROOT / "stories").glob("*.sheet")])
ORACLE = sorted((ROOT / "authorities" / "oracle").glob("*/circuit.json"))
WITH_OHMS = ("resistance", "to_ground", "to_supply", "to_point")

BENCH = """battery BAT
switch KEY positions off, on, start
KEY.B-S closed at start
KEY.`B 2`-R closed at on
starter STA
alternator ALT
lamp LAMP 12 V 5 W
relay K4
module ECM
path BAT.+ -- KEY.B-S -- STA.50
path KEY.R -- LAMP -- K4.30-87 -- ALT.D+
path ECM.hb -- K4.86
fault Q "said before the driver is": ECM.mr dead
ECM.31 ground
ECM.30 supply 25 ohm awake 12 kohm asleep
ECM.in1 input ign on at 5 V off at 3 V
ECM.mr low-side main while ign
ECM.hb low-side pull while ign
ECM.hb high-side push while ign
"""


@cache
def bench() -> Circuit:
    return parse(BENCH)


def _filled(faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    return tuple(replace(f, ohm=1.5) if f.mode in WITH_OHMS and f.ohm is None else f for f in faults)


def test_there_are_sheets_and_circuits_to_read() -> None:
    assert len(SHEETS) > 10 and len(ORACLE) >= 3


@pytest.mark.parametrize("path", [*SHEETS, *ORACLE], ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_every_fault_of_the_catalogue_reads_back(path: Path) -> None:
    circuit = read_circuit(path.read_text(encoding="utf-8"))
    given = [_filled(h.faults) for h in catalogue(circuit) if h.faults]
    assert len(given) > 20
    for faults in given:
        text = fault_text(circuit, faults)
        assert parse_fault(circuit, text) == faults, text
        assert parse_fault(circuit, fault_text(None, faults)) == faults


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("KEY.B-S open", Fault("open", Term("KEY", "B-S"))),
        ("KEY.S-B open", Fault("open", Term("KEY", "B-S"))),
        ("KEY.`B-S` open", Fault("open", Term("KEY", "B-S"))),
        ("`KEY`.B-S resistance 1,5 ohm", Fault("resistance", Term("KEY", "B-S"), ohm=1.5)),
        ("KEY.`B 2`-R open", Fault("open", Term("KEY", "B 2-R"))),
        ("K4.30-87 open", Fault("open", Term("K4", "87"))),
        ("K4.86-85 open", Fault("open", Term("K4", "coil"))),
        ("STA.contact open", Fault("open", Term("STA", "contact"))),
        ("LAMP.in open", Fault("open", Term("LAMP", ""))),
        ("BAT.- resistance 0.4 ohm", Fault("resistance", Term("BAT", ""), ohm=0.4)),
        ("K4.85 open", Fault("open", Term("K4", "coil"))),
        ("K4.30 open", Fault("open", Term("K4", "30"))),
        ("ALT.B+ resistance 1 ohm", Fault("resistance", Term("ALT", ""), ohm=1.0)),
        ("KEY.R open", Fault("open", Term("KEY", "B 2-R"))),
        ("LAMP blown", Fault("open", Term("LAMP", ""))),
        ("LAMP.in to ground 1 ohm", Fault("to_ground", Term("LAMP", "in"), ohm=1.0)),
        ("STA.coil open", Fault("open", Term("STA", "coil"))),
        ("STA.pull open", Fault("open", Term("STA", "pull"))),
        ("ALT.field open", Fault("open", Term("ALT", "field"))),
        ("LAMP has rated 21 W", Fault("has", Term("LAMP", ""), attribute="rated_w", value=21.0)),
        ("LAMP has rated 24 V", Fault("has", Term("LAMP", ""), attribute="rated_v", value=24.0)),
        ("ECM.mr dead", Fault("dead", Term("ECM", "main"))),
        ("ECM.MAIN always on", Fault("always_on", Term("ECM", "main"))),
        ("ECM.in1 dead", Fault("dead", Term("ECM", "in1"))),
        ("ECM.ign dead", Fault("dead", Term("ECM", "in1"))),
        ("ECM dead", Fault("module_dead", Term("ECM", ""))),
    ],
)
def test_faults_are_said_the_way_people_say_them(text: str, fault: Fault) -> None:
    assert parse_fault(bench(), text) == (fault,)


def test_a_fault_may_stand_above_the_driver_it_blames() -> None:
    assert bench().faults[0].faults == (Fault("dead", Term("ECM", "main")),)


@pytest.mark.parametrize(
    ("text", "code", "near"),
    [
        ("ECM.mian dead", "unknown-driver", "main"),
        ("ECM.hb dead", "unknown-driver", None),
        ("KEY.B-R open", "unknown-branch", None),
        ("LAMP has rated 3 ohm", "wrong-unit", None),
        ("LAMP has rate 5 W", "unknown-attribute", "rated"),
        ("LAMP resistance -2 ohm", "negative", None),
        ("BAT has emf -12 V", "negative", None),
        ("STA.coyl open", "unknown-terminal", "coil"),
    ],
)
def test_a_fault_that_cannot_be_is_refused_with_the_nearest_name(
    text: str, code: str, near: str | None
) -> None:
    with pytest.raises(InputError) as caught:
        parse_fault(bench(), text)
    assert [(p.code, p.nearest) for p in caught.value.problems] == [(code, near)]


@pytest.mark.parametrize(
    "line", ["path STA.coil -- K4.85", "net x: K4.coil, LAMP.in", "path KEY.`B-S` -- K4.85"]
)
def test_what_lies_inside_a_part_joins_no_path(line: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(BENCH + line)
    assert [p.code for p in caught.value.problems] == ["not-a-terminal"]
