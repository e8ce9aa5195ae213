"""Outside examples for planning; each names its source (figures recomputed where it says so)."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from numpy.typing import NDArray

from amptrail.plan import (
    EndGame,
    Problem,
    Where,
    World,
    bits,
    clear_cut,
    make_plan,
    problem,
    proof_bound,
    rollout,
    simple_tests,
)
from amptrail.plan.order import Action, expected_cost, order_actions
from amptrail.plan.tables import Array, Tests

# Test sequencing, five faults and five unit-cost tests: Pattipati & Alexandridis, IEEE SMC 20(4), 1990
# (matrix and 2.18 from memory).
PRIOR = np.array([0.70, 0.01, 0.02, 0.10, 0.05, 0.12])
ROWS = ("00000", "01001", "00110", "10011", "11000", "11110")


def binary(rows: tuple[str, ...]) -> Array:
    return np.array([[[1 - int(c), int(c)] for c in row] for row in rows], float)


def five_faults() -> Problem:
    return problem(PRIOR, np.arange(6), simple_tests(binary(ROWS)))


def test_five_fault_matrix_is_exactly_2_18() -> None:
    plan = make_plan(five_faults())
    assert plan.exact
    assert plan.expected_min == pytest.approx(2.18, abs=1e-12)
    assert plan.best == 1
    game = EndGame(five_faults(), clear_cut(five_faults(), PRIOR) or pytest.fail("clear-cut"))
    passes, fails = game.outcomes(game.everything, 1)
    here = Where()
    assert (game.best(passes, here), game.best(fails, here)) == (3, 2)


def test_greedy_chooses_the_other_test_and_rollout_mends_it() -> None:
    info = bits(PRIOR, binary(ROWS))
    assert info[:2] == pytest.approx([0.8415, 0.6801], abs=5e-5)
    rolled = rollout(five_faults(), PRIOR, Where(), confident=1 - 1e-9)
    assert rolled.candidates[0] == 0
    assert rolled.mean_min[rolled.best] == pytest.approx(2.18, abs=1e-9)
    assert rolled.mean_min[rolled.candidates.index(1)] == pytest.approx(2.18, abs=1e-9)
    assert rolled.mean_min[0] == pytest.approx(2.86, abs=1e-9)


def test_bound_is_below_the_optimum() -> None:
    p = five_faults()
    game = EndGame(p, clear_cut(p, PRIOR) or pytest.fail("clear-cut"))
    assert 1.454873 <= proof_bound(game, Where()) <= 2.18


# Repair order: Kadane & Simon 1977; Heckerman, Breese & Rommelse, CACM 38(3), 1995 (from memory; recomputed).
def test_repair_order_by_chance_per_cost() -> None:
    actions = [Action(p, c) for p, c in zip((0.40, 0.25, 0.20, 0.10, 0.05), (30, 5, 12, 2, 20), strict=True)]
    order = order_actions(actions)
    assert [i + 1 for i in order] == [2, 4, 3, 1, 5]
    assert expected_cost(actions, order) == pytest.approx(28.8)
    assert expected_cost(actions, [0, 1, 2, 3, 4]) == pytest.approx(38.5)
    assert expected_cost(actions, [3, 1, 2, 4, 0]) == pytest.approx(35.3)


# Access cost: Ottosen & Jensen, arXiv 1203.3502 (rule seen; figures recomputed).
def test_a_panel_is_paid_once() -> None:
    actions = [Action(0.30, 10), Action(0.20, 9), Action(0.25, 4, panel=0), Action(0.25, 4, panel=0)]
    order = order_actions(actions, (15.0,))
    assert order[:2] == [0, 1]
    assert expected_cost(actions, order, (15.0,)) == pytest.approx(26.8)
    assert expected_cost(actions, [2, 3, 0, 1], (15.0,)) == pytest.approx(28.8)


def test_block_order_is_never_beaten() -> None:
    rng = np.random.default_rng(9)
    for _ in range(60):
        chance = rng.dirichlet(np.ones(6))
        panel = rng.integers(-1, 2, 6)
        actions = [
            Action(float(p), float(c), int(k))
            for p, c, k in zip(chance, rng.integers(1, 30, 6), panel, strict=True)
        ]
        opening = tuple(float(x) for x in rng.integers(1, 30, 2))
        best = min(expected_cost(actions, list(o), opening) for o in permutations(range(6)))
        assert expected_cost(actions, order_actions(actions, opening), opening) == pytest.approx(
            best, abs=1e-9
        )


# Twelve coins: MacKay, Information Theory, Inference, and Learning Algorithms (2003), ch. 4 (from memory).
def test_twelve_coins_need_three_weighings() -> None:
    """Greedy by information needs three; two can never do (9 outcomes, 24 truths)."""
    rng = np.random.default_rng(12)
    pans = np.zeros((600, 12), np.int64)
    for row in pans:
        size = int(rng.integers(1, 5))
        chosen = rng.permutation(12)[: 2 * size]
        row[chosen[:size]], row[chosen[size:]] = 1, -1
    outcome = np.zeros((24, len(pans), 3))
    for h, (coin, sign) in enumerate((c, s) for c in range(12) for s in (1, -1)):
        outcome[h, np.arange(len(pans)), pans[:, coin] * sign + 1] = 1.0
    assert bits(np.full(24, 1 / 24), outcome).max() == pytest.approx(np.log2(3))
    assert _weighings(outcome, np.arange(24)) == 3


def _weighings(outcome: Array, left: NDArray[np.intp]) -> int:
    """Worst-case number of weighings when each is the most informative one."""
    if len(left) == 1:
        return 0
    table = outcome[left]
    t = int(bits(np.full(len(left), 1 / len(left)), table).argmax())
    parts = [left[table[:, t, c] > 0] for c in range(3)]
    return 1 + max(_weighings(outcome, part) for part in parts if len(part))


# 600 random clear-cut instances: the exact end-game against an independent brute force, rollout against it.
def instance(seed: int, faults: int, tests: int) -> Problem:
    """Three places and a sleep phase 20 minutes away, two- and three-way tests (generator as in CHECKS C)."""
    rng = np.random.default_rng(seed)
    classes = rng.integers(2, 4, tests)
    result = np.stack([rng.integers(0, k, faults) for k in classes], axis=1)
    outcome = np.zeros((faults, tests, 3))
    outcome[np.arange(faults)[:, None], np.arange(tests)[None], result] = 1.0
    xy = rng.uniform(0, 5, (3, 2))
    travel = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    shift = np.array([[0.0, 20.0], [1.0, 0.0]])
    opens = tuple(frozenset({0}) if rng.random() < 0.2 else frozenset() for _ in range(tests))
    table = Tests(
        outcome,
        rng.uniform(0.5, 4, tests),
        rng.integers(0, 3, tests),
        (rng.random(tests) < 0.25).astype(np.int64),
        opens,
        np.ones(tests, bool),
    )
    group = np.minimum(np.arange(faults), faults - 2)  # the last two share a repair
    return problem(rng.dirichlet(np.ones(faults)), group, table, World(travel, shift, np.array([5.0])))


def brute(p: Problem, left: frozenset[int], at: Where, memo: dict[object, float]) -> float:
    """Least expected minutes times probability; written apart from the program's own search."""
    key = (left, at)
    if key not in memo:
        memo[key] = 0.0
        if len({int(p.group[h]) for h in left}) > 1:
            options = []
            for t in range(len(p.tests.own_min)):
                parts = [frozenset(h for h in left if p.tests.outcome[h, t, c] > 0.5) for c in range(3)]
                parts = [x for x in parts if x]
                if len(parts) > 1:
                    total = sum(p.prior[h] for h in left) * p.price(t, at).total
                    options.append(total + sum(brute(p, x, p.after(t, at), memo) for x in parts))
            memo[key] = min(options, default=0.0)
    return memo[key]


def follow(p: Problem) -> float:
    """Expected minutes when rollout chooses every test."""

    def go(belief: Array, at: Where) -> float:
        rolled = rollout(p, belief, at, confident=1 - 1e-9)
        if len(np.unique(p.group[belief > 0])) < 2 or not rolled.candidates:
            return 0.0
        t = rolled.candidates[rolled.best]
        total = p.price(t, at).total
        for c in range(3):
            new = belief * p.tests.outcome[:, t, c]
            if new.sum() > 0:
                total += new.sum() * go(new / new.sum(), p.after(t, at))
        return total

    return go(p.prior, Where())


@pytest.mark.parametrize("block", range(6))
def test_exact_end_game_equals_brute_force(block: int) -> None:
    for seed in range(100):
        p = instance(1000 * block + seed, 4 + seed % 3, 6)
        game = EndGame(p, clear_cut(p, p.prior) or pytest.fail("clear-cut"))
        best = brute(p, frozenset(range(len(p.prior))), Where(), {})
        assert game.value(game.everything, Where()) == pytest.approx(best, abs=1e-9)
        assert float(game.costs(Where()) @ game.clear.chance) == pytest.approx(best, abs=1e-9)
        assert proof_bound(game, Where()) <= best + 1e-9


def test_rollout_is_near_the_optimum() -> None:
    ratio = []
    for seed in range(25):
        p = instance(90_000 + seed, 8 + seed % 3, 10)
        game = EndGame(p, clear_cut(p, p.prior) or pytest.fail("clear-cut"))
        ratio.append(follow(p) / game.value(game.everything, Where()))
    print(f"rollout against the optimum: mean {np.mean(ratio):.4f}, worst {np.max(ratio):.3f} (25 instances)")
    assert min(ratio) >= 1 - 1e-9
    assert np.mean(ratio) <= 1.02
