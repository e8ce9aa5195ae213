"""Conversions between forms, and the errors of those that cannot be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from random_oracle import circuit as invented

from amptrail.circuit.model import Circuit
from amptrail.errors import InputError
from amptrail.exchange import convert, read_circuit
from amptrail.exchange.oracle import from_circuit, to_circuit
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
        d = invented(seed)
        c = to_circuit(d)
        again = parse(print_sheet(c), d["name"])
        assert from_circuit(again) == d, seed


def test_netlist_has_a_deck_for_every_phase() -> None:
    assert convert(GIVEN[0], "netlist").count("\n.end\n") == 5


def test_json_holds_every_part() -> None:
    d = json.loads(convert(GIVEN[0], "json"))
    names = [p["name"] for p in d["parts"]]
    assert d["is"] == Circuit.__name__ and "K_PUMP" in names


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
