"""Planning and belief on one page of figures: run `python benchmarks/plan_bench.py`."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from amptrail.belief import Hypothesis, Prediction, Reading, Table, double_grid, posterior, single_grid
from amptrail.plan import Where, group_bits, make_plan, problem, rollout, simple_tests


def best_ms(work: Callable[[], object], repeats: int = 5) -> float:
    """Least time of a few runs after one warm-up, ms."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1e3 * min(times)


def planning() -> None:
    """Base rule at full size, rollout at its budget, a whole plan."""
    rng = np.random.default_rng(0)
    outcome = rng.dirichlet(np.ones(8) * 0.3, size=(3000, 300))
    group = rng.integers(0, 400, 3000)
    belief = rng.dirichlet(np.ones(3000))
    print(f"base rule, 3,000 x 300 x 8: {best_ms(lambda: group_bits(belief, group, outcome)):.1f} ms")
    small = rng.dirichlet(np.ones(8) * 0.3, size=(64, 60))
    p = problem(rng.random(64), np.arange(64), simple_tests(small))
    print(f"rollout, 64 x 60, 8 x 16 x 6 steps: {best_ms(lambda: rollout(p, p.prior, Where())):.1f} ms")
    big = problem(belief, group, simple_tests(outcome))
    print(f"whole plan, 3,000 x 300: {best_ms(lambda: make_plan(big), 3):.1f} ms")


def believing() -> None:
    """Singles with 17 severities and doubles with 81, five readings."""
    grid = single_grid(0.01, 1000)
    ohm = 10 ** grid.axes[0]
    rng = np.random.default_rng(1)
    readings = tuple(Reading(6.0, 0.05) for _ in range(5))

    def hypothesis(i: int) -> Hypothesis:
        tap, load = rng.uniform(0.1, 1, 5), rng.uniform(1, 50)
        return Hypothesis(str(i), 1.0, Prediction(12 * load / (load + ohm)[:, None] * tap), grid)

    table = Table(tuple(hypothesis(i) for i in range(300)), readings)
    print(f"posterior, 300 singles, 5 readings: {best_ms(lambda: posterior(table), 3):.0f} ms")
    both = double_grid((0.01, 1000), (0.01, 1000))
    first, second = np.meshgrid(ohm[::2], ohm[::2], indexing="ij")

    def pair(i: int) -> Hypothesis:
        tap, load = rng.uniform(0.1, 1, 5), rng.uniform(1, 50)
        volts = 12 * load / (load + first.ravel() + tap[0] * second.ravel())
        return Hypothesis(str(i), 1.0, Prediction(volts[:, None] * tap), both)

    doubles = Table(tuple(pair(i) for i in range(200)), readings)
    print(f"posterior, 200 doubles, 5 readings: {best_ms(lambda: posterior(doubles), 2):.0f} ms")


if __name__ == "__main__":
    planning()
    believing()
