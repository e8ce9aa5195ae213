"""How near the best possible the plans are. `python -m benchmarks.plan_proofs [--exact N] [--noisy N]`

1. Exact end-game against an independent dynamic program on random clear-cut instances (travel, sleep wait,
   panels), and the same instances with the end-game switched off: cost over the optimum.
2. A noisy world: 120 faults, 50 repair groups, 60 tests of 6 bins, misprobes 3 %. A misprobe repeats itself
   where the same metal is read again: whoever slipped once at a point slips there again as often as not.
   Minutes, wrong conclusions and paired differences of: half-split, information without travel, fixed order,
   base rule, rollout, each told to stop at the same certainty.
Generators as in CHECKS C of the brief.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from tests.plan.test_sequencing import brute, instance

from amptrail.plan import EndGame, Where, World, clear_cut, problem, rollout
from amptrail.plan.score import group_bits, group_mass
from amptrail.plan.tables import Array, Problem, Tests

SURE, MOST_TESTS = 0.95, 40
SLIP, SLIPS_AGAIN = 0.03, 0.5
FAULTS, GROUPS, TESTS, BINS, PLACES = 120, 50, 60, 6, 4
Policy = Callable[[Problem, Array, Where, "Job"], int]


# ---- clear-cut ---------------------------------------------------------------------------------------
def switched_off(p: Problem) -> float:
    """Expected minutes when rollout chooses every test of a clear-cut instance."""

    def go(belief: Array, at: Where) -> float:
        if len(np.unique(p.group[belief > 0])) < 2:
            return 0.0
        rolled = rollout(p, belief, at, confident=1 - 1e-9)
        if not rolled.candidates:
            return 0.0
        t = rolled.candidates[rolled.best]
        total = p.price(t, at).total
        for c in range(p.tests.outcome.shape[2]):
            new = belief * p.tests.outcome[:, t, c]
            if new.sum() > 0:
                total += new.sum() * go(new / new.sum(), p.after(t, at))
        return total

    return go(p.prior, Where())


def clear(count: int) -> str:
    """The two lines about clear-cut instances."""
    off: list[float] = []
    ratio: list[float] = []
    for seed in range(count):
        p = instance(7_000_000 + seed, 8 + seed % 5, 10 + seed % 5)
        game = EndGame(p, clear_cut(p, p.prior))  # type: ignore[arg-type]
        best = game.value(game.everything, Where())
        small = instance(8_000_000 + seed, 4 + seed % 4, 6)  # the other program is slow on the large ones
        other = EndGame(small, clear_cut(small, small.prior))  # type: ignore[arg-type]
        everything = frozenset(range(len(small.prior)))
        off.append(abs(other.value(other.everything, Where()) - brute(small, everything, Where(), {})))
        if best > 0:
            ratio.append(switched_off(p) / best)
    r = np.asarray(ratio)
    return (
        f"exact end-game: at most {max(off):.1e} min from an independent program, {len(off)} instances\n"
        f"switched off:   mean {r.mean():.4f}, 95 % {np.quantile(r, 0.95):.3f}, worst {r.max():.3f} of the "
        f"optimum, exactly optimal {np.mean(r < 1 + 1e-9):.0%} ({len(r)} instances, 8 to 12 faults)"
    )


# ---- noisy -------------------------------------------------------------------------------------------
@dataclass
class Job:
    """One hidden truth and what has been read on it."""

    truth: int
    rng: np.random.Generator
    slipped: dict[int, bool] = field(default_factory=dict)
    done: list[int] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class Noisy:
    """A random vehicle: the problem, and which metal each test touches."""

    problem: Problem
    right: Array  # outcome chances without slips
    metal: NDArray[np.int64]


def noisy(seed: int) -> Noisy:
    rng = np.random.default_rng(seed)
    group = np.sort(rng.integers(0, GROUPS, FAULTS))
    level = rng.normal(size=(FAULTS, TESTS)) * 0.4 + rng.normal(size=(GROUPS, TESTS))[group] * 1.2
    metal = rng.integers(0, TESTS // 2, TESTS)
    edges = np.linspace(-2, 2, BINS - 1)
    inside = 1 / (1 + np.exp(-(edges[None, None] - level[:, :, None]) / 0.08))
    right = np.diff(
        np.concatenate([np.zeros((*level.shape, 1)), inside, np.ones((*level.shape, 1))], 2), axis=2
    )
    xy = rng.uniform(0, 4, (PLACES, 2))
    travel = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    shift = np.array([[0.0, 20.0, 0.5], [1.0, 0.0, 1.0], [0.5, 20.0, 0.0]])
    tests = Tests(
        (1 - SLIP) * right + SLIP / BINS,
        rng.uniform(0.5, 2.0, TESTS),
        rng.integers(0, PLACES, TESTS),
        rng.choice(3, TESTS, p=[0.5, 0.15, 0.35]),
        tuple(frozenset({int(k)}) if (k := rng.integers(0, 8)) < 3 else frozenset() for _ in range(TESTS)),
        np.ones(TESTS, bool),
    )
    prior = rng.dirichlet(np.ones(FAULTS) * 0.5)
    return Noisy(problem(prior, group, tests, World(travel, shift, np.array([2.0, 4.0, 6.0]))), right, metal)


def observed(n: Noisy, job: Job, t: int) -> int:
    """What the test shows; a slip at a metal comes again there half of the time."""
    m = int(n.metal[t])
    before = job.slipped.get(m)
    slip = job.rng.random() < (SLIPS_AGAIN if before else SLIP)
    job.slipped[m] = slip
    if slip:
        return int(job.rng.integers(BINS))
    return int(job.rng.choice(BINS, p=n.right[job.truth, t]))


def play(n: Noisy, policy: Policy, job: Job) -> tuple[float, bool]:
    """(minutes, right repair group) of one job."""
    p, belief, at, spent = n.problem, n.problem.prior, Where(), 0.0
    while len(job.done) < MOST_TESTS:
        if group_mass(p, belief).max() >= SURE:
            break
        t = policy(p, belief, at, job)
        if t < 0:
            break
        spent += p.price(t, at).total
        belief = belief * p.tests.outcome[:, t, observed(n, job, t)]
        belief = belief / belief.sum()
        at = p.after(t, at)
        job.done.append(t)
    return spent, int(group_mass(p, belief).argmax()) == int(p.group[job.truth])


def _left(p: Problem, belief: Array, job: Job) -> Array:
    """Information about repair groups of the tests not done yet."""
    info = group_bits(belief, p.group, p.tests.outcome)
    info[job.done] = 0.0
    return info


def _first(value: Array, info: Array) -> int:
    return int(value.argmax()) if info.max() > 1e-6 else -1


def half_split(p: Problem, belief: Array, at: Where, job: Job) -> int:
    """The test whose likeliest outcome comes nearest to half; minutes do not matter."""
    info = _left(p, belief, job)
    top = np.abs(np.einsum("h,htc->tc", belief, p.tests.outcome).max(axis=1) - 0.5)
    return _first(np.where(info > 1e-6, -top, -9.0), info)


def no_travel(p: Problem, belief: Array, at: Where, job: Job) -> int:
    """Information per minute of the test itself."""
    info = _left(p, belief, job)
    return _first(info / p.tests.own_min, info)


def fixed_order(p: Problem, belief: Array, at: Where, job: Job) -> int:
    """Place by place in the order drawn, whatever was read."""
    info = _left(p, belief, job)
    order = np.lexsort((np.arange(TESTS), p.tests.phase, p.tests.place))
    return next((int(t) for t in order if t not in job.done), -1) if info.max() > 1e-6 else -1


def base_rule(p: Problem, belief: Array, at: Where, job: Job) -> int:
    """Information about repair groups per minute, moves and waits in the denominator."""
    info = _left(p, belief, job)
    return _first(info / p.prices(at), info)


def looking_ahead(p: Problem, belief: Array, at: Where, job: Job) -> int:
    """Rollout over the best candidates."""
    allowed = p.tests.allowed.copy()
    allowed[job.done] = False
    now = Problem(p.prior, p.group, _but(p.tests, allowed), p.world)
    rolled = rollout(now, belief, at, seed=len(job.done), confident=SURE)
    return rolled.candidates[rolled.best] if rolled.candidates else -1


def _but(t: Tests, allowed: NDArray[np.bool_]) -> Tests:
    return Tests(t.outcome, t.own_min, t.place, t.phase, t.opens, allowed, t.names)


POLICIES: dict[str, Policy] = {
    "half-split": half_split,
    "information, no travel": no_travel,
    "fixed order": fixed_order,
    "base rule": base_rule,
    "rollout": looking_ahead,
}


def noisy_table(jobs: int, vehicles: int) -> str:
    """One line a policy."""
    minutes: dict[str, list[float]] = {k: [] for k in POLICIES}
    right: dict[str, list[bool]] = {k: [] for k in POLICIES}
    used: dict[str, float] = dict.fromkeys(POLICIES, 0.0)
    each = -(-jobs // vehicles)
    for v in range(vehicles):
        n = noisy(v)
        truths = np.random.default_rng(1000 + v).choice(FAULTS, each, p=n.problem.prior)
        for k, truth in enumerate(truths):
            for name, policy in POLICIES.items():
                began = time.process_time()
                spent, ok = play(n, policy, Job(int(truth), np.random.default_rng((v, k))))
                used[name] += time.process_time() - began
                minutes[name].append(spent)
                right[name].append(ok)
    base = np.asarray(minutes["base rule"])
    rows = []
    for name in POLICIES:
        m = np.asarray(minutes[name])
        gap, se = (m - base).mean(), (m - base).std() / len(m) ** 0.5
        rows.append(
            f"{name:24} {m.mean():6.2f} min, wrong {1 - np.mean(right[name]):5.1%}, against the base rule "
            f"{gap:+.2f} +- {2 * se:.2f} (2 SE); {1000 * used[name] / len(m):.0f} ms a job"
        )
    return f"noisy: {FAULTS} faults, {GROUPS} groups, {len(base)} jobs\n" + "\n".join(rows)


def main(argv: Sequence[str]) -> int:
    """Measure, print."""
    parser = argparse.ArgumentParser(description="plans against the best possible")
    parser.add_argument("--exact", type=int, default=300)
    parser.add_argument("--noisy", type=int, default=600)
    parser.add_argument("--vehicles", type=int, default=20)
    asked = parser.parse_args(argv)
    if asked.exact:
        print(clear(asked.exact), flush=True)
    if asked.noisy:
        print(noisy_table(asked.noisy, asked.vehicles))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
