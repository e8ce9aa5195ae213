"""Every node of the kernel in every phase beside ngspice, an independent simulator (a Debian package).

Where ngspice's own volts leave less than 1 uA over at every node: 1 uV or 1e-6; elsewhere 1 mV. The tiers are
counted and printed. `make truth` compares more circuits and more faults.
"""

from __future__ import annotations

import json
import math
import os
import shutil
from pathlib import Path

import numpy as np
import pytest
from benchmarks.generator import generate
from benchmarks.spice_misses import Case, compare, ours_is_right, sample
from random_oracle import circuit as invented

from amptrail.circuit.model import Circuit, Term
from amptrail.errors import ModelError
from amptrail.exchange import convert, spice
from amptrail.exchange.deck import BOLTZMANN_V_K, frozen_netlist
from amptrail.exchange.oracle import to_circuit
from amptrail.sheet import parse
from amptrail.solve import assemble, run
from amptrail.solve.laws import THERMAL_V
from amptrail.solve.records import Lane
from amptrail.solve.residual import residual

ROOT = Path(__file__).parent.parent.parent
GIVEN = sorted((ROOT / "authorities" / "oracle").glob("c*/circuit.json"))
DEMOS = sorted((ROOT / "demos").rglob("*.sheet"))

if not spice.available() and not os.environ.get("CI"):
    pytest.skip(
        "ngspice is not installed: the kernel is NOT compared with it here (make ngspice)",
        allow_module_level=True,
    )


def agree(circuit: Circuit, cases: list[Case]) -> None:
    got = compare(circuit, cases)
    print(f"{circuit.name}: {got.line()}")
    assert got.misses == []
    assert got.silent == []
    assert got.strict > 0.9 * (got.strict + got.coarse) > 0


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_demos_healthy_and_faulted(path: Path) -> None:
    circuit = parse(path.read_text(encoding="utf-8"), path.stem)
    agree(circuit, sample(circuit, 10))


@pytest.mark.parametrize(
    ("size", "seed", "faults"), [(30, 0, 8), (30, 4, 8), (60, 1, 6), (60, 2, 6), (500, 0, 0)]
)
def test_generated_vehicles_healthy_and_faulted(size: int, seed: int, faults: int) -> None:
    circuit = generate(size, seed)
    agree(circuit, sample(circuit, faults))


@pytest.mark.parametrize("path", GIVEN, ids=lambda p: p.parent.name)
def test_given_circuits_healthy_and_faulted(path: Path) -> None:
    circuit = to_circuit(json.loads(path.read_text(encoding="utf-8")))
    agree(circuit, [("healthy", ()), *((f.name, f.faults) for f in circuit.faults)])


# a handful; 13 and 15 have metals that only a gigaohm holds
@pytest.mark.parametrize("seed", [0, 5, 13, 15])
def test_invented_circuits_healthy_and_faulted(seed: int) -> None:
    circuit = to_circuit(invented(seed))
    agree(circuit, [("healthy", ()), *((f.name, f.faults) for f in circuit.faults)])


def test_ngspice_has_the_thermal_voltage_the_deck_says() -> None:
    """A diode of its own at 1 mA: V = k T/q ln(1 + I/is). At 27 C not the 0.025864186 V of the laws."""
    text = "* d\nI1 0 n1 1e-3\n.model D1 D(is=5e-9 n=1)\nD1 n1 0 D1\n"
    text += ".options reltol=1e-12 vntol=1e-15 gmin=1e-18\n"
    got = spice.volts(text + ".control\nset numdgt=16\nop\nprint v(n1)\nquit\n.endc\n.end\n")
    assert got[1] / math.log(1 + 1e-3 / 5e-9) == pytest.approx(BOLTZMANN_V_K * 300.15, rel=1e-9)
    assert abs(BOLTZMANN_V_K * 300.15 / THERMAL_V - 1) > 2e-5


def _given(phase: int) -> tuple[str, np.ndarray, np.ndarray]:
    net = assemble(to_circuit(json.loads(GIVEN[0].read_text(encoding="utf-8"))))
    runs = run(net, [()])
    lane, state = Lane(*(a[0] for a in runs.lanes)), runs.snapshot.state[0, phase]
    left = residual(net, lane, state, phase, runs.volts[0, phase])
    return frozen_netlist(net, lane, state, phase), runs.volts[0, phase], left


def test_a_changed_element_is_seen() -> None:
    """The comparison can fail: 1 % on the first resistance moves some node by far more than is allowed."""
    text, ours, left = _given(1)
    assert np.abs(left).max() < 1e-6
    lines = text.splitlines()
    k = next(i for i, x in enumerate(lines) if x.startswith("R") and not x.startswith("RL"))
    head, ohm = lines[k].rsplit(" ", 1)
    lines[k] = f"{head} {float(ohm) * 1.01}"
    assert max(abs(v - ours[n]) for n, v in spice.volts("\n".join(lines) + "\n").items()) > 1e-4


def test_40_digits_see_volts_that_are_a_microvolt_off() -> None:
    """Whoever is off by more than 10 nV loses, us included."""
    net = assemble(to_circuit(json.loads(GIVEN[0].read_text(encoding="utf-8"))))
    runs = run(net, [()])
    lane, state = Lane(*(a[0] for a in runs.lanes)), runs.snapshot.state[0, 1]
    assert ours_is_right(net, lane, state, 1, runs.volts[0, 1])
    wrong = runs.volts[0, 1] + 1e-6 * (np.arange(net.static.nodes) == 3)
    assert not ours_is_right(net, lane, state, 1, wrong)


def test_volts_that_are_wrong_leave_current_over() -> None:
    net = assemble(to_circuit(json.loads(GIVEN[0].read_text(encoding="utf-8"))))
    runs = run(net, [()])
    lane, state = Lane(*(a[0] for a in runs.lanes)), runs.snapshot.state[0, 1]
    wrong = runs.volts[0, 1] + 1e-3 * (np.arange(net.static.nodes) == 3)
    assert np.abs(residual(net, lane, state, 1, wrong)).max() > 1e-3


def test_what_convert_writes_is_a_netlist_ngspice_reads() -> None:
    for path in DEMOS[:3]:
        text = convert(path, "netlist")
        decks = [d + ".end\n" for d in text.split("\n.end\n") if d.strip()]
        assert decks
        for deck in decks:
            assert spice.volts(deck)


def test_a_netlist_that_is_none_is_refused() -> None:
    with pytest.raises(ModelError):
        spice.volts("* nothing\n.end\n")


def test_the_simulator_is_here_in_ci() -> None:
    assert shutil.which("ngspice"), "CI never skips this comparison"


PULSED = """
laws oracle-1
phase running 5 s
battery BAT 12.6 V 10 mohm
splice SP
lamp L 12 V 21 W
diode D
resistor R 12 ohm
module ECM
ECM.31 ground
ECM.30 supply 25 ohm awake 12 kohm asleep
ECM.a low-side a duty 0.3 x on 50 mohm while phase running
ECM.b half-bridge b duty 0.8 x on 80 mohm while phase running
path BAT.+ -- [W1: 2.5 mm2 2 m] -- SP -- ECM.30
path SP -- L -- ECM.a
path ECM.a -- D -- SP
path ECM.b -- R -- ECM.31
path ECM.31 -- [W2: 1 mm2 1 m] -- BAT.-
"""


def test_pulsed_outputs_are_the_mean_of_what_ngspice_finds_in_each_share() -> None:
    """Two outputs of duty 0.3 and 0.8: both conduct for 0.3 of the period, one for 0.5, none for 0.2."""
    net = assemble(parse(PULSED, "pulsed"))
    got = run(net, [()])
    state = got.snapshot.state[0, 0]
    mean = np.zeros(net.static.nodes)
    for since, share in ((0.0, 0.3), (0.3, 0.5), (0.8, 0.2)):
        for n, v in spice.volts(frozen_netlist(net, net.base, state, 0, since=since)).items():
            mean[n] += share * v
    assert np.abs(got.volts[0, 0] - mean).max() < 1e-6
    assert 3.0 < mean[net.node(Term("ECM", "a"))] < 11.0
