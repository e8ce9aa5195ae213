"""Generated vehicles: sound, of the asked size, the same for the same seed, with faults that can be made."""

from __future__ import annotations

import pytest
from benchmarks.generator import SIZES, faults, generate, points, readings, sheet_text
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.circuit.checks import check
from amptrail.circuit.model import PartKind
from amptrail.circuit.tables import KINDS
from amptrail.sheet import fault_text, parse, parse_fault, parse_readings, print_sheet
from amptrail.solve.assemble import assemble
from amptrail.solve.runs import run


@pytest.mark.parametrize("size", SIZES)
def test_a_generated_vehicle_is_sound_and_of_the_asked_size(size: int) -> None:
    circuit = generate(size, 1)
    assert [p for p in check(circuit) if p.severity == "error"] == []
    assert len(circuit.parts) + len(circuit.cavities) == size


@given(size=st.integers(30, 130), seed=st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_any_size_and_seed_is_sound_and_prints_back(size: int, seed: int) -> None:
    circuit = generate(size, seed)
    assert [p for p in check(circuit) if p.severity == "error"] == []
    assert len(circuit.parts) + len(circuit.cavities) == size
    assert parse(print_sheet(circuit), circuit.name) == circuit


def test_the_same_seed_gives_the_same_sheet_and_another_seed_another() -> None:
    assert sheet_text(60, 7) == sheet_text(60, 7)
    assert sheet_text(60, 7) != sheet_text(60, 8)


def test_a_large_vehicle_has_every_kind_of_part_and_shares_its_grounds() -> None:
    circuit = generate(500, 3)
    missing = set(KINDS) - {p.kind for p in circuit.parts}
    assert missing == set[PartKind]()
    grounds = [h.part for path in circuit.paths for h in path.hops if h.part.startswith("G_")]
    assert max(grounds.count(g) for g in set(grounds)) >= 5


def test_a_vehicle_below_thirty_parts_is_refused() -> None:
    with pytest.raises(ValueError, match="30"):
        sheet_text(29, 1)


def test_faults_are_repeatable_and_can_be_written_and_read_back() -> None:
    circuit = generate(60, 2)
    hidden = faults(circuit, 40, 5)
    assert hidden == faults(circuit, 40, 5)
    assert {len(f) for f in hidden} == {1, 2}
    for fault in hidden:
        again = parse_fault(circuit, fault_text(circuit, fault))
        assert [(f.mode, f.at) for f in again] == [(f.mode, f.at) for f in fault]


def test_readings_come_from_the_reader_and_can_be_read_by_the_program() -> None:
    circuit = generate(60, 2)
    hidden = faults(circuit, 1, 5)[0]
    lines = readings(circuit, hidden, 8, 3, lambda c, f, point, phase, instrument: 12.0)
    assert len(lines) == 8
    assert all(" meter 1" in line for line in lines)
    parse_readings(circuit, "\n".join(lines))
    assert len(points(circuit)) == len(set(points(circuit)))


@pytest.mark.parametrize("size", [30, 60, 500])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_generated_vehicle_settles_in_every_phase_and_blows_nothing(size: int, seed: int) -> None:
    runs = run(assemble(generate(size, seed)), [()])
    phases = range(runs.status.shape[1])
    assert runs.status.tolist() == [[0 for _ in phases]]
    assert [runs.state(0, p).fuses_open for p in phases] == [() for _ in phases]
