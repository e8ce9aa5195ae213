"""The benchmark measures the same work on both sides, and its page can be read."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from benchmarks import points as frozen_points
from benchmarks.bench import page, shown
from benchmarks.figures import Row, fault_lanes, worsened
from benchmarks.generator import generate

from amptrail.exchange import spice
from amptrail.exchange.deck import LOOSE, TIGHT, deck
from amptrail.solve import assemble, run

NET = assemble(generate(30, 0))
WITH_SPICE = pytest.mark.skipif(
    not spice.available() and not os.environ.get("CI"), reason="ngspice is not installed: NOT compared here"
)


def test_figures_have_no_exponent_and_three_digits() -> None:
    assert [shown(x) for x in (None, 0.01234, 12.345, 999.4, 1234567.0)] == [
        "-", "0.0123", "12.3", "999", "1,234,567",
    ]  # fmt: skip


def test_page_is_one_table_of_at_most_100_columns() -> None:
    text = page([Row("a", "ms", {30: 1.0, 500: 2.0}), Row("b", "", {60: 3.0})], (30, 60, 500))
    lines = text.splitlines()
    assert len(lines) == 4
    assert len({len(x) for x in lines}) == 1
    assert len(lines[0]) <= 100
    assert lines[2].split() == ["a", "ms", "1", "-", "2"]


def test_every_single_fault_is_a_lane_that_changes_something() -> None:
    lanes = fault_lanes(NET)
    assert len(lanes) > len(NET.circuit.parts)
    assert all(lanes)


def test_a_frozen_healthy_point_has_the_volts_of_the_whole_run() -> None:
    """Ours from nothing, in the frozen state, without the wire made worse."""
    work = worsened(NET, 2)
    runs = run(NET, [()])
    healthy = frozen_points.Points(
        NET, work.lanes._replace(series=np.zeros_like(work.lanes.series) + NET.base.series), work.phase,
        work.state, work.raised, 0.0,
    )  # fmt: skip
    got = frozen_points.ours(healthy)
    assert np.allclose(got, runs.volts[0, work.phase], atol=1e-6)
    assert np.abs(frozen_points.ours(work) - got).max() > 0.01


def test_deck_leaves_out_what_does_not_conduct() -> None:
    state = run(NET, [()]).snapshot.state[0]
    awake, asleep = (deck(NET, NET.base, state[k], k) for k in (2, len(NET.phases) - 1))
    assert len(asleep) < len(awake)
    assert awake[-1] == TIGHT != LOOSE


@WITH_SPICE
def test_ngspice_gives_the_same_volts(tmp_path: Path) -> None:
    work = worsened(NET, 4)
    _, theirs = frozen_points.altered(work, tmp_path, TIGHT, True)
    assert theirs is not None
    assert np.abs(frozen_points.ours(work) - theirs).max() < 1e-5


@WITH_SPICE
def test_the_meter_reads_the_same_in_ngspice(tmp_path: Path) -> None:
    state = run(NET, [()]).snapshot.state[0, 2]
    volts = run(NET, [()]).volts[0, 2]
    nodes = [n for n in range(NET.static.nodes) if n != NET.static.ground][:6]
    got = frozen_points.metered(NET, NET.base, state, 2, nodes, tmp_path, TIGHT, True)[1]
    assert got is not None
    assert np.allclose(got, volts[nodes], atol=1e-2)
