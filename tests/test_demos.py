"""Every demo is a sound, healthy circuit of ordinary size, with readable evidence and a fault that shows."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.story_ranks import is_cause

from amptrail.circuit.checks import check
from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.expect import ExpectOptions, expect
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import fault_text, parse, parse_readings, print_sheet

DEMOS = sorted((Path(__file__).parent.parent / "demos").glob("*.sheet"))


def _sheet(path: Path) -> Circuit:
    return parse(path.read_text(encoding="utf-8"))


def test_there_are_six() -> None:
    assert [p.stem for p in DEMOS] == ["blower", "camper", "sensors", "sprayer", "starter", "trailer"]


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_demo_is_sound_and_prints_back(path: Path) -> None:
    circuit = _sheet(path)
    assert [p for p in check(circuit) if p.severity == "error"] == []
    assert parse(print_sheet(circuit)) == circuit
    parse_readings(circuit, path.with_suffix(".readings").read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_demo_has_the_size_and_the_knowledge_of_a_real_job(path: Path) -> None:
    circuit = _sheet(path)
    devices = [p for p in circuit.parts if p.kind != "wire"]
    assert 12 <= len(devices) <= 45
    assert all(p.minutes is not None for p in circuit.places)
    assert circuit.musts and circuit.draws
    assert len(circuit.faults) == 1


def _failing(path: Path, fault: str | None) -> list[str]:
    """The functions whose figures do not hold, healthy or with a fault."""
    circuit = _sheet(path)
    text = path.read_text(encoding="utf-8")
    volts = [m for m in circuit.musts if m.a is not None]
    at = tuple(str(t) for m in volts for t in (m.a, m.b))
    got = expect(
        text, ExpectOptions(at=at, instruments=("meter",), fault=(fault,) if fault else (), nominal=True)
    )
    value = {
        (key(r["point"]), p["phase"]): r["value"] for p in got["runs"][0]["phases"] for r in p["readings"]
    }  # fmt: skip
    awake = {p["phase"]: {key(x) for x in p["state"]["modules_awake"]} for p in got["runs"][0]["phases"]}
    bad = set()

    def volt(term: Term | None, phase: str) -> float:
        return float(value[(key(str(term)), phase)])

    for m in circuit.musts:
        for phase in drive_cycle(circuit):
            name = phase.name
            if m.a is None:
                if m.signal == "awake":
                    lives = key(str(m.module)) in awake[name]
                    bad |= {m.name} if (name in m.on and not lives) or (name in m.off and lives) else set()
                continue
            drop = volt(m.a, name) - volt(m.b, name)
            low = name in m.on and m.min_v is not None and drop < m.min_v
            high = name in m.off and m.max_off_v is not None and drop > m.max_off_v
            bad |= {m.name} if low or high else set()
    return sorted(bad)


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_healthy_demo_works_and_its_hidden_fault_breaks_it(path: Path) -> None:
    assert _failing(path, None) == []
    assert _failing(path, _sheet(path).faults[0].name) != []


def _first(path: Path) -> list[str]:
    """The repair groups' faults of the first three suspects, with what cannot be told from them."""
    text, said = path.read_text(encoding="utf-8"), path.with_suffix(".readings").read_text(encoding="utf-8")
    top = suspects(text, said)["suspects"][:3]
    return [t for s in top for t in ([s["text"]] if len(s["faults"]) == 1 else []) + s["equivalent"]]


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_the_hidden_fault_is_among_the_first_three_with_the_readings_shown(path: Path) -> None:
    circuit = _sheet(path)
    truth = fault_text(circuit, circuit.faults[0].faults)
    assert any(is_cause(circuit, t, (truth,)) for t in _first(path))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_the_readings_shown_fit_the_drawing(path: Path) -> None:
    text, said = path.read_text(encoding="utf-8"), path.with_suffix(".readings").read_text(encoding="utf-8")
    assert not suspects(text, said)["unexplained"]["is"]


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_the_next_test_can_tell_suspects_apart(path: Path) -> None:
    text, said = path.read_text(encoding="utf-8"), path.with_suffix(".readings").read_text(encoding="utf-8")
    tests = next_tests(text, said)["visits"][0]["tests"]
    likely = [o for t in tests for o in t["outcomes"] if o["probability"] > 0.02 and o["leaves"]]
    assert len({o["leaves"][0]["text"] for o in likely}) >= 2
