"""A frozen circuit in ngspice: another program's equations must give the twin's volts at every node."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from random_oracle import circuit as invented

from amptrail.circuit.model import Circuit, Fault
from amptrail.errors import ModelError
from amptrail.exchange import spice
from amptrail.exchange.netlist import spice as netlist
from amptrail.exchange.oracle import to_circuit
from amptrail.twin import Moment, run

GIVEN = sorted((Path(__file__).parent.parent.parent / "authorities" / "oracle").glob("c*/circuit.json"))
NEAR_V, NEAR = 1e-6, 1e-6  # 1 uV or 1e-6 of the value

if not spice.available() and not os.environ.get("CI"):
    pytest.skip(
        "ngspice is not installed: the netlist comparison is NOT checked here", allow_module_level=True
    )


def farthest(moment: Moment, got: dict[int, float]) -> float:
    """Largest difference of a node, as a multiple of what is allowed."""
    ours = moment.settled.solution.volts
    assert len(got) >= len(moment.machine.f.bench.hubs) - 1
    return max(abs(v - ours[n]) / max(NEAR_V, NEAR * abs(v)) for n, v in got.items())


def check(circuit: Circuit, faults: tuple[Fault, ...], where: str) -> None:
    for moment in run(circuit, faults):
        if moment.status != "chatter":
            assert farthest(moment, spice.operating_point(moment)) <= 1, (where, moment.phase.name)


@pytest.mark.parametrize("path", GIVEN, ids=lambda p: p.parent.name)
def test_given_circuits_healthy_and_faulted(path: Path) -> None:
    circuit = to_circuit(json.loads(path.read_text(encoding="utf-8")))
    check(circuit, (), "healthy")
    for f in circuit.faults:
        check(circuit, f.faults, f.name)


@pytest.mark.parametrize("seed", range(6))
def test_invented_circuits_healthy_and_faulted(seed: int) -> None:
    circuit = to_circuit(invented(seed))
    check(circuit, (), "healthy")
    for f in circuit.faults:
        check(circuit, f.faults, f.name)


def test_without_our_guess_the_answer_is_the_same() -> None:
    circuit = to_circuit(json.loads(GIVEN[0].read_text(encoding="utf-8")))
    assert [farthest(m, spice.volts(netlist(m, guess=False))) <= 1 for m in run(circuit)] == [True] * 5


def test_a_changed_element_is_seen() -> None:
    """The comparison can fail: 1 % on the first resistance moves some node by far more than is allowed."""
    circuit = to_circuit(json.loads(GIVEN[0].read_text(encoding="utf-8")))
    moment = run(circuit)[1]
    lines = netlist(moment).splitlines()
    k = next(i for i, x in enumerate(lines) if x.startswith("R") and not x.startswith("RL"))
    head, ohm = lines[k].rsplit(" ", 1)
    lines[k] = f"{head} {float(ohm) * 1.01}"
    got, ours = spice.volts("\n".join(lines) + "\n"), moment.settled.solution.volts
    assert max(abs(v - ours[n]) for n, v in got.items()) > 1e-4


def test_a_netlist_that_is_none_is_refused() -> None:
    with pytest.raises(ModelError):
        spice.volts("* nothing\n.end\n")
