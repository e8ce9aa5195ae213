"""Conversions between forms, and the errors of those that cannot be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from random_oracle import circuit as invented
from random_oracle import odd

from amptrail.circuit.model import Circuit
from amptrail.errors import InputError
from amptrail.exchange import convert, read_circuit
from amptrail.exchange.oracle import from_circuit, to_circuit
from amptrail.jobs.cycle import CycleOptions, cycle
from amptrail.sheet import parse, print_sheet

ROOT = Path(__file__).parent.parent.parent
GIVEN = sorted((ROOT / "authorities" / "oracle").glob("c*/circuit.json"))


@pytest.mark.parametrize("path", GIVEN, ids=lambda p: p.parent.name)
def test_oracle_to_sheet_and_back(path: Path) -> None:
    d = json.loads(path.read_text(encoding="utf-8"))
    assert json.loads(convert(convert(path, "sheet"), "oracle")) == d


@pytest.mark.parametrize("first", range(0, 500, 50))
def test_invented_circuits_through_the_sheet(first: int) -> None:
    for seed in range(first, first + 50):
        for d in (invented(seed), odd(seed)):
            again = parse(print_sheet(to_circuit(d)), d["name"])
            assert from_circuit(again) == d, seed


def test_netlist_has_a_deck_for_every_phase() -> None:
    assert convert(GIVEN[0], "netlist").count("\n.end\n") == 5


@pytest.mark.parametrize("path", [*sorted((ROOT / "demos").rglob("*.sheet")), *GIVEN], ids=lambda p: p.stem)
def test_the_model_as_json_and_back_is_the_same(path: Path) -> None:
    circuit = read_circuit(path.read_text(encoding="utf-8"), path.stem)
    assert read_circuit(convert(path, "json")) == circuit


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"is": "Circut"}', "Circut"),
        ('{"is": "Circuit", "partz": []}', "partz"),
        ('{"is": "Circuit", "parts": [{"is": "Part", "kind": "lamp"}]}', "Part lacks"),
        ('{"is": "Term", "part": "K", "name": "30"}', "no circuit"),
        ('{"is": "Circuit", "parts": [], "points": NaN}', "NaN"),
    ],
)
def test_json_that_is_no_circuit_is_said(text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_circuit(text)


def test_a_base_stands_for_its_phases_in_the_oracle_format() -> None:
    """The format has only names of phases: what a sheet says of a base is written out."""
    sheet = """
phase key-on as ignition-on 5 s
phase crank as cranking 3 s
phase idle as running 10 s
phase drive as running 10 s
phase sleep as asleep 60 s
battery BAT 12.6 V
alternator ALT 14.3 V 20 mohm
switch S closed in running, key-on
module M
M.31 ground
M.30 supply 30 ohm awake 10 kohm asleep
M awake while phase running or not phase crank
path BAT.+ -- S -- M.30
path ALT.B+ -- BAT.+
path ALT.31 -- body
path M.31 -- body
joint STRAP 1 mohm
path BAT.- -- STRAP -- body
must fed: S.out to body 9 V or more in running; 1 V or less in asleep
"""
    d = json.loads(convert(sheet, "oracle"))
    parts = {p["id"]: p for p in d["parts"]}
    assert parts["S"]["closed_in"] == ["idle", "drive", "key-on"]
    assert parts["ALT"]["spin_in"] == ["idle", "drive"]
    assert parts["M"]["signals"][0]["expr"] == [
        "or", ["or", "phase.idle", "phase.drive"], ["not", "phase.crank"],
    ]  # fmt: skip
    assert (d["functions"][0]["on"], d["functions"][0]["off"]) == (["idle", "drive"], ["sleep"])


@pytest.mark.parametrize(
    "line",
    [
        {"switch": "KEY1", "function": "fed"},
        {"id": "KEY1", "functions": ["fed"]},
        {"part": "KEY1", "for": "fed"},
    ],
)
def test_an_interlock_is_known_by_what_its_values_name(line: dict[str, object]) -> None:
    d = invented(3) | {"interlocks": [line]}
    assert [(i.switch, i.function) for i in to_circuit(d).interlocks] == [("KEY1", "fed")]


def test_an_interlock_of_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="neither a part nor a function"):
        to_circuit(invented(3) | {"interlocks": [{"id": "NOBODY"}]})


def test_json_holds_every_part() -> None:
    d = json.loads(convert(GIVEN[0], "json"))
    names = [p["name"] for p in d["parts"]]
    assert d["is"] == Circuit.__name__ and "K_PUMP" in names


TWO_BATTERIES = """
phase rest as asleep 600 s
phase lit as running 20 s with LIGHTS at on
phase start as cranking 3 s
battery MAIN 12.6 V 8 mohm
battery HOUSE 12.2 V 12 mohm charge 40 mohm
fuse FB 60 A 2 mohm
lamp L 12 V 21 W
resistor STARTER 0.1 ohm
switch LIGHTS positions off, on
LIGHTS.1-2 closed at on
LIGHTS.1-3 closed at off
switch KEY 20 mohm positions off, on, start
KEY.30-50 closed at start
path MAIN.+ -- FB -- [W1: 10 mm2 4 m] -- HOUSE.+
path HOUSE.- -- [W2: 10 mm2 1 m] -- body
path MAIN.- -- body
path HOUSE.+ -- LIGHTS.1-2 -- L -- body
path MAIN.+ -- KEY.30-50 -- STARTER -- body
must lamp-lit: L.in to L.out 9 V or more in lit; 1 V or less in rest
must turns: STARTER.in to STARTER.out 8 V or more in start; 1 V or less in rest, lit
interlock LIGHTS for lamp-lit
fault F1 "stuck": LIGHTS stuck on
fault F2 "worn": KEY.30-50 resistance 2 ohm
"""


def test_switches_with_positions_and_a_second_battery_mean_the_same_in_the_oracle_format() -> None:
    """Every post had been the battery's own net, which laid both batteries on one metal."""
    d = json.loads(convert(TWO_BATTERIES, "oracle"))
    switches = {p["id"]: p["closed_in"] for p in d["parts"] if p["kind"] == "switch"}
    assert switches == {"LIGHTS.1-2": ["lit"], "LIGHTS.1-3": ["rest", "start"], "KEY.30-50": ["start"]}
    assert [f["set"] for f in d["faults"]] == [
        [{"type": "stuck_on", "part": "LIGHTS.1-2"}, {"type": "stuck_on", "part": "LIGHTS.1-3"}],
        [{"type": "series", "branch": "KEY.30-50", "ohm": 2.0}],
    ]
    assert [i["switch"] for i in d["interlocks"]] == ["LIGHTS.1-2", "LIGHTS.1-3"]
    sheet = convert(json.dumps(d), "sheet")
    assert json.loads(convert(sheet, "oracle")) == d

    def volts(text: str) -> list[float]:
        return [f["volts"] for f in cycle(text, CycleOptions())["functions"]]

    assert volts(sheet) == pytest.approx(volts(TWO_BATTERIES), abs=1e-9)


@pytest.mark.parametrize(
    ("text", "to"), [("{", "json"), ("{}", "sheet"), ("{}", "shet"), ("part ???", "oracle")]
)
def test_what_cannot_be_converted_is_said(text: str, to: str) -> None:
    with pytest.raises(InputError):
        convert(text, to)


def test_a_missing_file_is_said() -> None:
    with pytest.raises(InputError, match=r"nowhere\.sheet"):
        convert(Path("nowhere.sheet"), "json")


def test_read_circuit_tells_the_two_texts_apart() -> None:
    assert read_circuit(GIVEN[0].read_text(encoding="utf-8")).laws == "oracle-1"
