"""What is left out for speed changes no answer: passes not lived twice, readings not solved again."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from benchmarks.figures import fault_lanes
from benchmarks.generator import generate
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.solve import CHATTER, Change, Kind, Network, Runs, Tap, assemble, conservation, read, run
from amptrail.solve.elimination import backward, backward_of, fill, forward, injected, ordering, pushed
from amptrail.solve.probing import source_ohms

TOLERANCE = 1e-9  # V, and of the value
LEAK_S = 1e-3  # of the random networks: floating clusters are more than the general solver can do


def same(a: npt.NDArray[np.float64], b: npt.NDArray[np.float64]) -> bool:
    return bool(np.allclose(a, b, rtol=TOLERANCE, atol=TOLERANCE))


def some_lanes(net: Network, count: int, seed: int) -> list[tuple[Change, ...]]:
    """Single faults and pairs of them."""
    singles = fault_lanes(net)
    rng = np.random.default_rng(seed)
    picks = rng.integers(0, len(singles), (count, 2))
    return [(), *(singles[a] if n % 2 else singles[a] + singles[b] for n, (a, b) in enumerate(picks))]


@pytest.mark.parametrize("seed", range(4))
def test_a_pass_not_lived_again_ends_the_same(seed: int) -> None:
    net = assemble(generate(30, seed))
    lanes = some_lanes(net, 60, seed)
    for start in ("asleep", f"awake:{net.phases[-2].name}"):
        quick, long = (run(net, lanes, start, 2, every_pass=e) for e in (False, True))
        assert quick.counters["solves"] < 0.8 * long.counters["solves"]
        assert np.array_equal(quick.status, long.status)
        assert np.array_equal(quick.snapshot.state, long.snapshot.state)
        assert np.array_equal(quick.snapshot.time, long.snapshot.time)
        steady = long.status < CHATTER
        assert same(quick.volts[steady], long.volts[steady])
        assert same(quick.amps[steady], long.amps[steady])


@pytest.mark.parametrize(("size", "seed"), [(30, 5), (60, 1), (120, 2)])
def test_a_lane_that_follows_the_healthy_one_ends_where_it_does_alone(size: int, seed: int) -> None:
    """Many lanes start from what the healthy vehicle came through, a few from nothing; fuses exchanged that
    feel nothing are not lived at all."""
    net = assemble(generate(size, seed))
    lanes = some_lanes(net, 50, seed)
    lanes += [x for x in fault_lanes(net) if x and all(c.other == "rating_a" for c in x)][:20]
    for start in ("asleep", f"awake:{net.phases[0].name}"):
        assert_as_alone(net, lanes, start)


def assert_as_alone(net: Network, lanes: list[tuple[Change, ...]], start: str) -> Runs:
    """Many lanes together, laid over the healthy states, against each alone, which is lived by itself."""
    together = run(net, lanes, start)
    for n, lane in enumerate(lanes):
        alone = run(net, [lane], start)
        assert np.array_equal(together.status[n], alone.status[0])
        assert np.array_equal(together.snapshot.state[n], alone.snapshot.state[0])
        assert np.array_equal(together.snapshot.prev[n], alone.snapshot.prev[0])
        assert np.array_equal(together.snapshot.time[n], alone.snapshot.time[0])
        steady = alone.status[0] < CHATTER
        assert same(together.snapshot.until[n][steady], alone.snapshot.until[0][steady])
        assert same(together.volts[n][steady], alone.volts[0][steady])
        assert same(together.amps[n][steady], alone.amps[0][steady])
    return together


def test_a_lane_of_which_a_fuse_opens_goes_on_as_it_does_alone() -> None:
    """Behind every fuse a short of little or much, also with a bad feed; awake and asleep."""
    net = assemble(generate(120, 1))
    ground = net.static.ground
    lanes = [
        (Change(Kind.BRIDGE, int(net.base.nb[net.branch(f)]), ground, ohm), *more)
        for f in net.fuses
        for ohm in (0.02, 0.4)
        for more in ((), (Change(Kind.SERIES, "W1", value=0.05),))
    ]
    for start in ("asleep", f"awake:{net.phases[-1].name}"):
        got = assert_as_alone(net, lanes, start)
        at = net.static.at
        assert got.snapshot.state[:, :, at[5] : at[6]].any(axis=(1, 2)).sum() > len(lanes) // 4


def test_a_bridge_with_a_node_in_its_middle_is_the_bridge() -> None:
    """Between nodes that no branch and no arm joins, of any resistance, two of them at once too."""
    net = assemble(generate(60, 2))
    rng = np.random.default_rng(3)
    ends, ohms = rng.integers(0, net.static.nodes, (60, 2)), 10.0 ** rng.uniform(-3, 4, 60)
    single = [(Change(Kind.BRIDGE, int(a), int(b), float(r)),) for (a, b), r in zip(ends, ohms, strict=True)]
    double = [one + other for one, other in zip(single[:20], single[20:40], strict=True)]
    assert_as_alone(net, single + double, "asleep")


def everywhere(net: Network) -> list[Tap]:
    """Every instrument at many points, and differences."""
    nodes = range(net.static.nodes)
    taps = [Tap(n) for n in nodes] + [Tap(n, None, "lamp", (12.0, 21.0)) for n in nodes]
    taps += [Tap(n, None, "loaded") for n in nodes if n % 2] + [Tap(n, None, "led") for n in nodes if n % 2]
    return taps + [Tap(n, (7 * n + 3) % len(nodes)) for n in nodes]


@pytest.mark.parametrize("seed", range(4))
def test_a_reading_not_solved_again_is_the_one_solved_again(seed: int) -> None:
    net = assemble(generate(30, seed))
    runs = run(net, some_lanes(net, 24, seed))
    taps = everywhere(net)
    got, whole = read(net, runs, taps), read(net, runs, taps, every_solve=True)
    assert np.array_equal(got.status, whole.status)
    assert np.array_equal(got.changed, whole.changed)
    steady = whole.status < CHATTER
    assert same(got.value[steady], whole.value[steady])
    assert seed or whole.changed.any()  # in the first circuit some instruments do switch something


def eliminate(plan: Any, kept: tuple[Any, ...]) -> None:
    forward(plan.start, plan.pair, plan.rank, plan.near, plan.comes, plan.source, *kept)


def random_plan(seed: int, nodes: int, branches: int) -> tuple[Any, ...]:
    """A random network, eliminated: (plan, what is kept of it, volts, matrix, right side)."""
    rng = np.random.default_rng(seed)
    na, nb = (rng.integers(0, nodes, branches).astype(np.int32) for _ in range(2))
    late = rng.integers(0, 2, nodes).astype(np.int8)
    order, rank = np.zeros(nodes - 1, np.int32), np.zeros(nodes, np.int32)
    ordering(nodes, 0, na, nb, late, order, rank)
    plan = fill(nodes, 0, order, rank, na, nb)
    siemens, emf = 10.0 ** rng.uniform(-3, 3, branches), rng.normal(0, 12, branches)
    own_g, own_j, g, J = np.zeros((4, len(plan.near)))
    left_g, left_j = np.zeros((2, len(plan.target)))
    inverse, v, stale = np.zeros(nodes), np.zeros(nodes), np.ones(nodes, np.uint8)
    for k in range(nodes - 1):
        own_g[plan.start[k + 1] - 1] = LEAK_S
    for b in range(branches):
        if plan.edge[b] >= 0:
            own_g[plan.edge[b]] += siemens[b]
            own_j[plan.edge[b]] += plan.sign[b] * siemens[b] * emf[b]
    kept = own_g, own_j, left_g, left_j, g, J, inverse, stale
    eliminate(plan, kept)
    backward(plan.order, plan.start, plan.near, g, J, inverse, v, np.zeros(nodes))
    matrix, rhs = np.diag(np.full(nodes, LEAK_S)), np.zeros(nodes)
    for a, z, s, e in zip(na, nb, siemens, emf, strict=True):
        if a != z:
            matrix[[a, z, a, z], [a, z, z, a]] += (s, s, -s, -s)
            rhs[a] -= s * e
            rhs[z] += s * e
    return plan, kept, v, matrix[1:, 1:], rhs[1:]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.integers(3, 40))
def test_elimination_against_a_general_linear_solver(seed: int, nodes: int) -> None:
    """Volts, transfer resistances and source resistances of random networks, against numpy's solve."""
    plan, kept, v, matrix, rhs = random_plan(seed, nodes, 2 * nodes)
    g, inverse = kept[4], kept[6]
    scale = 1e-6 * max(1.0, float(np.abs(v).max()))
    assert np.allclose(v[1:], np.linalg.solve(matrix, rhs), rtol=1e-6, atol=scale)
    whole = np.linalg.inv(matrix)
    ohm, arm = np.zeros(nodes), np.zeros(len(g))
    source_ohms(plan.order, plan.start, plan.near, plan.target, plan.pair, g, inverse, ohm, arm)
    assert np.allclose(ohm[1:], np.diag(whole), rtol=1e-6)
    s, y = np.zeros(nodes), np.zeros(nodes)
    s[1] = 1.0
    injected(plan.order, plan.start, plan.near, g, inverse, s, y, 0)
    assert np.allclose(y[1:], whole[:, 0], rtol=1e-6, atol=1e-9 * whole.max())


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.integers(3, 40), st.integers(1, 5))
def test_amperes_put_in_beside_the_emfs_against_a_general_solver(seed: int, nodes: int, put: int) -> None:
    """Through the pivots they reach only, as the laws' corrections go, and through all."""
    plan, kept, _, matrix, rhs = random_plan(seed, nodes, 2 * nodes)
    rng = np.random.default_rng(seed)
    s = np.zeros(nodes)
    some = rng.integers(1, nodes, put)
    s[some] = rng.normal(0, 3, put)
    want = np.linalg.solve(matrix, rhs + s[1:])
    reached = np.zeros(nodes, np.bool_)
    reached[plan.rank[some]] = True
    for k in range(nodes - 1):
        if reached[k]:
            reached[plan.parent[k]] = True
    climb = np.flatnonzero(reached[:-1]).astype(np.int32)
    g, J, inverse = kept[4], kept[5], kept[6]
    pushed(plan.order, plan.start, plan.near, g, inverse, s, climb, len(climb))
    few, all_ = np.zeros(nodes), np.zeros(nodes)
    backward_of(plan.order, plan.start, plan.near, g, J, inverse, few, s, climb, len(climb))
    backward(plan.order, plan.start, plan.near, g, J, inverse, all_, s)
    scale = 1e-6 * max(1.0, float(np.abs(want).max()))
    assert np.allclose(all_[1:], want, rtol=1e-6, atol=scale)
    assert np.array_equal(few[plan.order[climb]], all_[plan.order[climb]])


@pytest.mark.parametrize("seed", range(3))
def test_a_threshold_however_near_is_judged_as_by_an_exact_solution(seed: int) -> None:
    """Many lanes are asked what switches next of a rough solution; where it is close they may not be. The
    pull-in voltage of a relay is moved to where the armature just pulls behind a bad main feed, found with
    one lane at a time, which solves exactly."""
    net = assemble(generate(60, seed))
    relay = net.relays[-1]

    def lane(volts: float) -> tuple[Change, ...]:
        return (Change(Kind.PARAM, relay, "pull_v", volts), Change(Kind.SERIES, "W1", value=0.3))

    def energised(volts: float) -> bool:
        return bool(run(net, [lane(volts)]).snapshot.state[0, :, len(net.relays) - 1].any())

    low, high = 1.0, 16.0  # pulls in; does not
    assert energised(low) and not energised(high)
    while high - low > 1e-8:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if energised(middle) else (low, middle)
    near = [low + sign * 10.0**-e for e in range(2, 8) for sign in (-1.0, 1.0)]
    together = run(net, [lane(v) for v in near])
    got = together.snapshot.state[:, :, len(net.relays) - 1].any(axis=1)
    assert got.tolist() == [v < low for v in near]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.integers(3, 40), st.integers(1, 5))
def test_what_did_not_change_is_not_eliminated_again(seed: int, nodes: int, changed: int) -> None:
    """Some arms changed, only their pivots marked: every bit as if all had been eliminated."""
    plan, kept, *_ = random_plan(seed, nodes, 2 * nodes)
    own_g, own_j, stale = kept[0], kept[1], kept[7]
    assert not stale[:-1].any()
    rng = np.random.default_rng(seed)
    for arm in rng.integers(0, len(own_g), changed):
        own_g[arm] *= 10.0 ** rng.uniform(-3, 3)
        own_j[arm] += rng.normal()
        stale[int(np.searchsorted(plan.start, arm, side="right")) - 1] = 1
    whole = (own_g, own_j, *(np.zeros_like(a) for a in kept[2:7]), np.ones_like(stale))
    eliminate(plan, kept)
    eliminate(plan, whole)
    for some, every in zip(kept[2:7], whole[2:7], strict=True):
        assert np.array_equal(some, every)


def test_an_arm_more_for_a_bridge_is_filled_in_along_its_path_only() -> None:
    """Between two far nodes no healthy branch joins: the same order, the same volts as a plan made new."""
    net = assemble(generate(30, 1))
    n = net.static.nodes
    far = [(a, b) for a in range(0, n, 7) for b in range(3, n, 11) if a != b]
    plain = run(net, [(Change(Kind.BRIDGE, a, b, 1e9),) for a, b in far])
    healthy = run(net, [()])
    settled = healthy.status[0] == 0
    assert np.allclose(plain.volts[:, settled], healthy.volts[:, settled], atol=0.02)
    worst = conservation(plain)[0]
    assert worst < 1e-6
