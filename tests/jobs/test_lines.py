"""Every line that may be proposed is one that a readings file takes, and means the test it came from."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from amptrail.circuit.model import Circuit, Term
from amptrail.circuit.phases import drive_cycle
from amptrail.exchange.oracle import to_circuit
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.judging.offers import asked, measured, sensed
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import observations
from amptrail.jobs.solved.spots import Spot, canonical
from amptrail.sheet import parse, print_sheet

ROOT = Path(__file__).parents[2]
TOOLS = ("meter", "lamp", "loaded", "clamp")
UNIT = {"clamp": "A", "fuse-drop": "mV"}


def _circuits() -> dict[str, Circuit]:
    found = {p.stem: parse(p.read_text(encoding="utf-8")) for p in sorted((ROOT / "demos").glob("*.sheet"))}
    for p in sorted((ROOT / "authorities" / "oracle").glob("c*/circuit.json")):
        found[p.parent.name] = parse(print_sheet(to_circuit(json.loads(p.read_text(encoding="utf-8")))))
    return found


CIRCUITS = _circuits()


def _value(t: Candidate) -> str:
    if t.said is not None:
        return t.choices[0][0]
    return "dark" if t.instrument == "lamp" else f"1 {UNIT.get(t.instrument, 'V')}"


def _metal(circuit: Circuit, term: Term | None) -> str:
    return canonical(circuit, term) if term else ""


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_plain_line_reads_back_as_the_test_it_came_from(name: str) -> None:
    circuit = CIRCUITS[name]
    phases = range(len(drive_cycle(circuit)))
    tests = [*measured(circuit, phases, TOOLS, ()), *sensed(circuit, phases)]
    text = "\n".join(reading_line(circuit, t).replace("{value}", _value(t)) for t in tests)
    heard = observations(circuit, text)
    assert not heard.ignored
    assert len(heard.used) == len(tests)
    for t, o in zip(tests, heard.used, strict=True):
        assert (o.phase, o.conditions) == (t.phase, t.conditions)
        if t.said is None:
            assert o.spot is not None and o.instrument == t.instrument
            assert _metal(circuit, o.spot.a) == _metal(circuit, t.spot.a)
        else:
            assert (o.kind, o.part) == (t.said.kind, t.said.part)


@pytest.mark.parametrize(
    "conditions",
    [
        Conditions(unplugged=("X7",)),
        Conditions(pulled=("F9",)),
        Conditions(replaced=("K4",)),
        Conditions(out=("K4",), feed="from K4.30 to K4.87 fuse 15 A"),
    ],
)
def test_a_standing_condition_is_set_and_lifted_by_the_same_text(conditions: Conditions) -> None:
    circuit = CIRCUITS["sprayer"]
    must = next(m for m in circuit.musts if m.name == "pump-runs")
    line = reading_line(circuit, asked(circuit, must, 0, conditions, "unplug")).replace("{value}", "works")
    plain = "PUMP.in in ignition-on meter 12 V"
    heard = observations(circuit, f"{line}\n{plain}")
    assert [o.conditions for o in heard.used] == [conditions, Conditions()]


def test_three_sensors_mad_together_are_halved_by_parting_a_plug() -> None:
    text = (ROOT / "demos" / "sensors.sheet").read_text(encoding="utf-8")
    said = (ROOT / "demos" / "sensors.readings").read_text(encoding="utf-8")
    got = next_tests(text, said)
    tests = [t for v in got["visits"] for t in v["tests"]]
    assert not got["stop"]["is"]
    plug = next(t for t in tests if t["action"] == "unplug")
    assert plug["with"] == ["X12 unplugged"], "the one plug on the reference not yet parted"
    assert plug["repair_bits"] > 0.3 and plug["cautions"] is not None
    assert observations(parse(text), plug["line"].replace("{value}", "5.0 V")).used


def test_a_point_on_no_metal_is_never_proposed() -> None:
    for circuit in CIRCUITS.values():
        spots: list[Spot] = [t.spot for t in measured(circuit, (0,), TOOLS, ())]
        assert all(s.a.part for s in spots)
