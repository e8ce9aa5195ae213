"""Where a relay gives up is found between the severities of the grid, not taken to be half-way."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from amptrail.circuit.model import Circuit
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.sheet import parse, parse_fault

SHEET = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text(encoding="utf-8")
# the coil lead reads low: resistance in it, near where the relay drops out
READ = "PUMP in ignition-on works\nK4.86 in ignition-on meter 12.5 V\nK4.85 in ignition-on meter 3.9 V\n"


def _drops_out_ohm(circuit: Circuit, wire: str) -> float:
    """The resistance from which K4 no longer holds, by halving on the solver."""
    phase = next(i for i, p in enumerate(drive_cycle(circuit)) if p.base == "ignition-on")
    low, high = 1.0, 1000.0
    for _ in range(20):
        middle = (low * high) ** 0.5
        got = solving.solved(
            circuit, [parse_fault(circuit, f"{wire} resistance {middle:.6g} ohm")], Conditions()
        )
        low, high = (middle, high) if got.energised("K4", phase)[0] > 0.5 else (low, middle)
    return low


def test_the_boundary_is_found_to_a_sixteenth_of_a_step() -> None:
    circuit = parse(SHEET)
    j = judge(circuit, READ, doubles="off")
    true = np.log10(_drops_out_ohm(circuit, "W14"))
    h = next(h for h, s in enumerate(j.suspects) if s.key == "W14:resistance")
    assert j.post.probability[h] > 0.01
    grid = j.post.table.hypotheses[h].grid
    coarse = (grid.axes[0][-1] - grid.axes[0][0]) / 16
    assert min(abs(c - true) for c in grid.cuts) < coarse / 15
    assert len(grid.axes[0]) > 17


def test_finer_severities_keep_everything_adding_up() -> None:
    j = judge(parse(SHEET), READ, doubles="off")
    total = float(j.post.probability.sum()) + j.post.undrawn + float(j.post.spoiled.sum())
    assert abs(total - 1) < 1e-9
    assert len(j.suspects) == len(j.post.table.hypotheses) == len(j.post.probability)
    for s, h in zip(j.suspects, j.post.table.hypotheses, strict=True):
        assert len(s.rows) == len(h.prediction.mean)
