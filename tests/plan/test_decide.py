"""Laws of the plan: outcomes add up, the wait is shared, what cannot be done is never proposed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.errors import InputError
from amptrail.plan import (
    SLEEP_WAIT_MIN,
    Tests,
    Where,
    World,
    bits,
    group_bits,
    make_plan,
    problem,
    simple_tests,
)
from amptrail.plan.kernel import group_bits_loop
from amptrail.plan.rollout import Rolled
from amptrail.plan.tables import Array


def noisy(seed: int, h: int = 30, t: int = 20, c: int = 4) -> Array:
    return np.random.default_rng(seed).dirichlet(np.ones(c) * 0.3, size=(h, t))


@given(st.integers(0, 1000))
@settings(max_examples=15, deadline=None)
def test_every_plan_adds_up(seed: int) -> None:
    rng = np.random.default_rng(seed)
    p = problem(
        rng.dirichlet(np.ones(30)), rng.integers(0, 8, 30), simple_tests(noisy(seed), rng.uniform(1, 5, 20))
    )
    plan = make_plan(p)
    assert not plan.exact
    listed = [a for v in plan.visits for a in v.tests]
    assert plan.best in [a.test for a in listed]
    for a in listed:
        assert sum(o.probability for o in a.outcomes) == pytest.approx(1.0, abs=1e-6)
        assert 0 <= a.repair_bits <= a.bits + 1e-9
        assert a.score == pytest.approx(a.repair_bits / a.minutes.total)
    assert 0 <= plan.bound_min <= plan.expected_min
    first = next(a for a in listed if a.test == plan.best)
    assert plan.expected_min >= first.minutes.total - 1e-9
    assert plan.p80_min >= first.minutes.total - 1e-9
    assert plan.visits[0].tests[0] is first
    assert plan.visits[0].minutes <= plan.expected_min + 1e-9
    assert make_plan(p) == plan  # same seed, same plan


@given(st.integers(0, 1000))
@settings(max_examples=10, deadline=None)
def test_compiled_and_plain_information_agree(seed: int) -> None:
    rng = np.random.default_rng(seed)
    belief, group = rng.dirichlet(np.ones(30)), rng.integers(0, 8, 30)
    dense = np.unique(group, return_inverse=True)[1].reshape(-1)
    table = noisy(seed)
    plain = group_bits(belief, group, table)
    assert group_bits_loop(belief, dense, table) == pytest.approx(plain, abs=1e-12)
    assert (plain <= bits(belief, table) + 1e-12).all()


def test_a_sample_of_the_future_is_believed_only_beyond_its_luck() -> None:
    draws = np.full((2, 16), 10.0)
    draws[1] = np.where(np.arange(16) % 2 == 0, 0.0, 19.9)  # a twentieth of a minute better, by luck
    weight = np.full(16, 1 / 16)
    assert Rolled((4, 7), draws @ weight, draws, weight, sampled=True).best == 0
    assert Rolled((4, 7), draws @ weight, draws, weight, sampled=False).best == 1
    draws[1] = 8.0
    assert Rolled((4, 7), draws @ weight, draws, weight, sampled=True).best == 1


def four_way() -> Tests:
    """Four faults; two binary tests asleep that suffice, one awake that knows only the last fault."""
    outcome = np.zeros((4, 3, 2))
    for h in range(4):
        outcome[h, 0, h >> 1] = outcome[h, 1, h & 1] = outcome[h, 2, int(h == 3)] = 1.0
    place = np.zeros(3, np.int64)
    return Tests(outcome, np.ones(3), place, np.array([1, 1, 0]), (frozenset(),) * 3, np.ones(3, bool))


def test_the_sleep_wait_is_paid_once() -> None:
    world = World(np.zeros((1, 1)), np.array([[0.0, SLEEP_WAIT_MIN], [1.0, 0.0]]))
    both = replace(four_way(), allowed=np.array([True, True, False]))
    p = problem(np.full(4, 0.25), np.arange(4), both, world)
    plan = make_plan(p)
    assert plan.exact
    assert plan.expected_min == pytest.approx(SLEEP_WAIT_MIN + 2.0)
    asleep = next(v for v in plan.visits if v.phase == 1)
    assert [a.test for a in asleep.tests] in ([0, 1], [1, 0])
    assert asleep.minutes == pytest.approx(SLEEP_WAIT_MIN + 2.0)


def test_an_open_panel_costs_nothing_more() -> None:
    tests = replace(
        four_way(), opens=(frozenset({0}), frozenset({0}), frozenset()), phase=np.zeros(3, np.int64)
    )
    tests = replace(tests, allowed=np.array([True, True, False]))
    p = problem(
        np.full(4, 0.25), np.arange(4), tests, World(np.zeros((1, 1)), np.zeros((1, 1)), np.array([7.0]))
    )
    assert p.price(0, Where()).open == 7.0
    assert p.price(1, p.after(0, Where())).open == 0.0
    assert make_plan(p).expected_min == pytest.approx(9.0)
    assert make_plan(p, Where(opened=frozenset({0}))).expected_min == pytest.approx(2.0)


def test_what_cannot_be_done_is_never_proposed() -> None:
    tests = replace(four_way(), allowed=np.array([False, True, True]), phase=np.zeros(3, np.int64))
    plan = make_plan(problem(np.full(4, 0.25), np.arange(4), tests))
    assert plan.visits
    assert 0 not in [a.test for v in plan.visits for a in v.tests]


def test_same_repair_needs_no_splitting() -> None:
    tests = replace(four_way(), phase=np.zeros(3, np.int64))
    plan = make_plan(problem(np.full(4, 0.25), np.array([0, 0, 1, 1]), tests))
    assert plan.best == 0
    assert plan.expected_min == pytest.approx(1.0)
    done = make_plan(problem(np.full(4, 0.25), np.zeros(4, np.int64), tests))
    assert done.stop.is_so
    assert done.expected_min == 0.0


def test_stop_weighs_the_cost_of_being_wrong() -> None:
    tests = replace(four_way(), phase=np.zeros(3, np.int64), own_min=np.full(3, 5.0))
    p = problem(np.array([0.94, 0.02, 0.02, 0.02]), np.arange(4), tests)
    assert make_plan(p, wrong_cost_min=10.0).stop.is_so
    assert not make_plan(p, wrong_cost_min=600.0).stop.is_so


@pytest.mark.parametrize(("minutes", "stops"), [(3.0, False), (10.0, True)])
def test_a_test_that_saves_more_than_it_takes_is_done_though_it_does_not_prove(
    minutes: float, stops: bool
) -> None:
    """By hand: 0.4 x 20 = 8 min at stake now. The test leaves 0.59 x 0.034 x 20 + 0.41 x 0.54 x 20 = 4.8 min,
    though what it leaves of the others nothing tells apart."""
    table = np.array([[[0.95, 0.05]], [[0.05, 0.95]], [[0.05, 0.95]], [[0.05, 0.95]]])
    p = problem(np.array([0.6, 0.2, 0.1, 0.1]), np.arange(4), simple_tests(table, np.array([minutes])))
    assert make_plan(p, wrong_cost_min=20.0).stop.is_so is stops


def test_nothing_separates_is_said() -> None:
    plan = make_plan(problem(np.full(3, 1 / 3), np.arange(3), simple_tests(np.ones((3, 2, 1)))))
    assert plan.best == -1
    assert plan.visits == ()
    assert plan.stop.reason == "no allowed test separates what is left"


def test_bad_tables_are_input_errors() -> None:
    good = simple_tests(noisy(0))
    with pytest.raises(InputError):
        problem(np.ones(3), np.arange(30), good)
    with pytest.raises(InputError):
        problem(np.ones(30), np.arange(30), replace(good, outcome=good.outcome * 2))
    with pytest.raises(InputError):
        problem(np.ones(30), np.arange(30), replace(good, own_min=np.zeros(20)))
