"""A lamp is never offered along a run of wire that ends at an electronic pin (JOB.md section 1.6)."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.model import Driver, Reference, Term
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.wiring import wiring
from amptrail.jobs.judging.offers import measured
from amptrail.jobs.solved.forbidden import meter_only, never, runs
from amptrail.sheet import parse

DEMOS = sorted((Path(__file__).parents[2] / "demos").glob("*.sheet"))
DRAWS = ("lamp", "loaded", "led")


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_nothing_that_draws_current_is_offered_on_an_electronic_run(path: Path) -> None:
    circuit = parse(path.read_text(encoding="utf-8"))
    w, run = wiring(circuit), runs(circuit)
    ends = [Term(x.module, x.pin) for x in circuit.modules if isinstance(x, (Reference, Driver))]
    ends += [line.at for line in circuit.never_probe]
    barred = {run[n] for n in (w.node(t) for t in ends) if n is not None}
    tests = measured(circuit, range(len(drive_cycle(circuit))), ("meter", "lamp", "loaded", "clamp"), ())
    drawing = [t for t in tests if t.instrument in DRAWS]
    offered = [(t, w.node(t.spot.a)) for t in drawing]
    assert not [t.spot.name for t, n in offered if n is not None and run[n] in barred]
    touched = [t for t in tests if t.spot.what == "volts"]
    assert not [t.spot.name for t in touched if never(circuit, t.spot.a)]


def test_the_reference_is_barred_at_the_next_plug_and_a_fused_feed_is_not() -> None:
    sensors = next(p for p in DEMOS if p.stem == "sensors")
    circuit = parse(sensors.read_text(encoding="utf-8"))
    assert meter_only(circuit, Term("X13", "1.a")) and meter_only(circuit, Term("X13", "1.b"))
    assert not meter_only(circuit, Term("BAT", "+"))
    tests = measured(circuit, (0,), ("meter", "lamp"), ())
    assert [t for t in tests if t.instrument == "lamp"], "feeds can still be tried with a lamp"
