"""An instrument that is wrong is one cause for all it showed, never a better story than a plain good one."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.judging.offers import measured
from amptrail.jobs.judging.suspects import suspects
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.sheet import parse, parse_fault
from amptrail.sheet.words import term_text

SHEET = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text(encoding="utf-8")


def _lines(fault: str, factor: float, plus: float = 0.0) -> str:
    """What a meter that is off by a factor shows at seven points of a vehicle with this fault."""
    circuit = parse(SHEET)
    phase = next(i for i, p in enumerate(drive_cycle(circuit)) if p.base == "ignition-on")
    taken = [
        t for t in measured(circuit, [phase], ("meter",), ()) if t.spot.b is None and not t.conditions.out
    ]
    taken = taken[::4][:7]
    got = solving.solved(circuit, [parse_fault(circuit, fault)], Conditions())
    values, _ = got.measure([(t.spot, "meter", phase) for t in taken])
    rows = [
        f"{term_text(t.spot.a)} in ignition-on meter {factor * v + plus:.2f} V"
        for t, v in zip(taken, values[0], strict=True)
    ]
    return "PUMP in ignition-on does not work\n" + "\n".join(rows) + "\n"


@pytest.mark.parametrize(("factor", "plus"), [(1.4, 0.0), (1.25, 0.0)])
def test_a_meter_that_is_off_is_the_first_suspect(factor: float, plus: float) -> None:
    found = suspects(SHEET, _lines("K4 burnt", factor, plus))
    first = found["suspects"][0]
    assert first["faults"][0]["mode"] == "instrument_wrong"
    assert first["probability"] > 0.8
    assert "lines 2, 3" in first["why"]
    assert parse_fault(parse(SHEET), first["text"])[0].mode == "instrument_wrong"
    assert sum(s["probability"] for s in found["suspects"]) + found["rest"] == pytest.approx(1.0, abs=1e-9)


def test_a_dead_lead_is_among_the_first() -> None:
    """Even the battery reads nothing: one dead lead, or one slip and a main feed open."""
    found = suspects(SHEET, _lines("K4 burnt", 0.0, 0.01))
    assert "instrument_wrong" in [s["faults"][0]["mode"] for s in found["suspects"][:2]]


def test_a_plain_good_explanation_is_not_beaten_by_an_instrument() -> None:
    found = suspects(SHEET, _lines("K4 burnt", 1.0))
    assert found["suspects"][0]["text"] == "K4 stuck off"
    assert all(s["faults"][0]["mode"] != "instrument_wrong" for s in found["suspects"] if s["faults"])
    assert found["not_as_drawn"] < 0.02
