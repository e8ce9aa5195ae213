"""The oracle format goes to a circuit and back without a difference."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from random_oracle import circuit as invented
from random_oracle import odd

from amptrail.circuit.model import Circuit, Term
from amptrail.errors import InputError
from amptrail.exchange.oracle import from_circuit, to_circuit
from amptrail.exchange.oracle_words import KIND_IN

HERE = Path(__file__).parent.parent.parent / "authorities" / "oracle"
GIVEN = sorted(HERE.glob("c*/circuit.json"))


def load(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8"))


def test_three_are_given() -> None:
    assert len(GIVEN) == 3


@pytest.mark.parametrize("path", GIVEN, ids=lambda p: p.parent.name)
def test_given_circuit_returns_equal(path: Path) -> None:
    d = load(path)
    back = from_circuit(to_circuit(d))
    assert back.keys() == d.keys()
    for k in d:
        assert back[k] == d[k], k


def test_pin_becomes_cavity_and_branch_names_follow() -> None:
    c = to_circuit(load(HERE / "c02_pump_lowside" / "circuit.json"))
    assert ("X1", "17") in {(x.connector, x.name) for x in c.cavities}
    assert next(p for p in c.points if p.name == "I_coil").a == Term("K_PUMP", "coil")
    assert c.faults[2].faults[0].at == Term("X2", "2")


def test_unknown_kind_is_refused_by_name() -> None:
    d = load(GIVEN[0])
    d["parts"].append({"id": "Q1", "kind": "gyrator", "a": "x", "b": "y"})
    with pytest.raises(InputError, match="Q1"):
        to_circuit(d)


@pytest.mark.parametrize("d", [{}, {"format": "oracle-circuit-1"}, {"format": "oracle-circuit-1", "plan": 3}])
def test_nonsense_is_an_input_error(d: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        to_circuit(d)


def test_empty_circuit_exports() -> None:
    assert from_circuit(Circuit())["parts"] == []


def test_five_hundred_invented_circuits_return_equal() -> None:
    kinds: set[str] = set()
    for seed in range(500):
        for d in (invented(seed), odd(seed)):
            assert from_circuit(to_circuit(d)) == d, seed
        kinds |= {p["kind"] for p in d["parts"]}
    assert kinds == set(KIND_IN)
