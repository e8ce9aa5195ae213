"""The line search on the co-content, the check of every solve's currents, and random double faults."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.arbiter import settle_the_matter
from benchmarks.doubles import tried
from benchmarks.generator import faults, generate

from amptrail.faults import changes
from amptrail.sheet import parse
from amptrail.solve import CHATTER, assemble, run
from amptrail.solve.held import hold
from amptrail.solve.kernel import lane_of, workspace
from amptrail.solve.newton import LEFT, LEFT_A, leftover, newton, search
from amptrail.solve.records import Lane
from amptrail.solve.residual import residual
from amptrail.solve.stamping import prepare

ROOT = Path(__file__).parents[2]


def one(lanes: Lane, n: int) -> Lane:
    return lane_of(lanes, n)


@pytest.mark.parametrize(("size", "seed"), [(30, 3), (60, 2)])
def test_the_line_search_finds_what_newton_finds(size: int, seed: int) -> None:
    """From nothing, on healthy and faulted vehicles with lamps, motors, diodes, limited loads and
    references."""
    circuit = generate(size, seed)
    net = assemble(circuit)
    hidden = faults(circuit, 12, 1, doubles=0.5)
    runs = run(
        net, [(), *(tuple(c for f in several for c in changes(net, f)) for several in hidden)], cycles=1
    )
    compared = 0
    for n in range(len(hidden) + 1):
        for k in range(len(net.phases)):
            if runs.status[n, k] >= CHATTER:
                continue
            lane = one(runs.lanes, n)
            for (_, copy), amps in zip(net.static.refs, runs.snapshot.copies[n, k], strict=True):
                lane.p[copy, 0] = amps
            w = workspace(net.static, lane)
            w.state[:] = runs.snapshot.state[n, k]
            here = hold(net.static), hold(lane), hold(w)
            assert search(*here, prepare(*here, k)), (n, k)
            assert np.abs(w.v - runs.volts[n, k]).max() < 1e-8, (n, k)
            compared += 1
    assert compared > 50


def test_newton_from_absurd_volts_ends_where_it_does_from_nothing() -> None:
    net = assemble(generate(60, 2))
    runs = run(net, [()])
    rng = np.random.default_rng(5)
    for k in range(len(net.phases)):
        lane = one(runs.lanes, 0)
        for (_, copy), amps in zip(net.static.refs, runs.snapshot.copies[0, k], strict=True):
            lane.p[copy, 0] = amps
        w = workspace(net.static, lane)
        for _ in range(20):
            w.state[:] = runs.snapshot.state[0, k]
            w.x[:] = rng.uniform(-400, 400, w.x.size)
            assert newton(hold(net.static), hold(lane), hold(w), k)
            assert np.abs(w.v - runs.volts[0, k]).max() < 1e-8


def test_currents_that_do_not_add_up_are_seen() -> None:
    net = assemble(generate(30, 0))
    runs = run(net, [()])
    lane = one(runs.lanes, 0)
    w = workspace(net.static, lane)
    w.state[:] = runs.snapshot.state[0, 0]
    assert newton(hold(net.static), hold(lane), hold(w), 0)
    s, limit = net.static, LEFT_A + LEFT * np.abs(w.i).max()
    assert leftover(s.nodes, s.ground, lane.na, lane.nb, w.bg, w.v, w.i, w.left) < limit
    b = int(np.argmax(np.abs(w.i)))
    w.i[b] += 1e-4
    assert leftover(s.nodes, s.ground, lane.na, lane.nb, w.bg, w.v, w.i, w.left) > 0.9e-4


@pytest.mark.parametrize("name", ["sensors", "starter", "trailer", "camper"])
def test_demos_to_40_digits(name: str) -> None:
    """Every node of every phase of the healthy circuit within 1e-9 V of arithmetic to 40 digits, 1e-11 V
    where no reference's current is copied."""
    circuit = parse((ROOT / "demos" / f"{name}.sheet").read_text(encoding="utf-8"), name)
    net = assemble(circuit)
    runs = run(net, [()])
    near = 1e-9 if len(net.static.refs) else 1e-11
    for k in range(len(net.phases)):
        lane, state = one(runs.lanes, 0), runs.snapshot.state[0, k]
        exact = settle_the_matter(net, lane, state, k, runs.volts[0, k])
        far = max(abs(float(v - float(runs.volts[0, k, n]))) for n, v in enumerate(exact))
        assert far <= near, (net.phases[k].name, far)
        assert np.abs(residual(net, lane, state, k, runs.volts[0, k])).max() < 1e-6


@pytest.mark.parametrize(("size", "seed", "lanes"), [(30, 0, 600), (60, 1, 500), (120, 3, 150)])
def test_random_double_faults_of_generated_vehicles_all_have_an_answer(
    size: int, seed: int, lanes: int
) -> None:
    """All 20,000 lanes, on more vehicles: python -m benchmarks.doubles (`make truth`)."""
    got = tried(size, seed, lanes)
    assert got.without == 0 and got.unbalanced == 0
    assert got.left_a < 2e-6
    assert got.solves > 5 * lanes
