"""Ways of choosing the next test, on circuits. `python -m benchmarks.strategies [--jobs N] [--circuits A ..]`

A hidden fault answers the tests of five ways of choosing among the same tests, on the demos and the given
circuits of the neutral format: half-split by hand, information without travel, a fixed order along the
paths of the sheet, the base rule, and rollout. All start from what the owner says, judge readings alike, and
stop when one repair is as good as proven or no test tells anything more. The last row is the program whole:
rollout and its own rule of when repairing costs less than testing. Printed: minutes, tests, wrong conclusions
(the first repair does nothing, or something not needed), paired difference to the base rule.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.judging.desk import Choice, NextOptions, choice
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.plan import make_plan
from amptrail.plan.rollout import TELLS_BITS
from amptrail.plan.score import group_bits, group_mass
from amptrail.sheet import parse
from benchmarks.whole_jobs import circuits, first_right, jobs

Array = NDArray[np.float64]
MOST_TESTS = 30
DOUBLES = 0.1
ON = ("blower", "camper", "sensors", "sprayer", "starter", "trailer", "c02", "c05", "c07")


@dataclass(frozen=True, eq=False)
class Moment:
    """The choice now, what every test tells about the repair (bits), and where each stands on the sheet."""

    now: Choice
    info: Array
    along: NDArray[np.int64]
    seed: int


Way = Callable[[Moment], int]


def half_split(m: Moment) -> int:
    """The test whose likeliest outcome comes nearest to half; minutes do not matter."""
    p = m.now.problem
    top = np.abs(np.einsum("h,htc->tc", p.prior, p.tests.outcome).max(axis=1) - 0.5)
    return int(np.where(m.info > TELLS_BITS, -top, -9.0).argmax())


def no_travel(m: Moment) -> int:
    """Information per minute of the test itself."""
    return int((m.info / m.now.problem.tests.own_min).argmax())


def along_the_path(m: Moment) -> int:
    """Point by point as the paths of the sheet run, in the phase one is in first; what tells nothing is left
    out."""
    t = m.now.problem.tests
    order = np.lexsort((m.along, t.phase != m.now.at.phase))
    return int(next(i for i in order if m.info[i] >= TELLS_BITS))


def base_rule(m: Moment) -> int:
    """Information about repair groups per minute, moves and waits in the denominator."""
    return int((m.info / m.now.problem.prices(m.now.at)).argmax())


def looking_ahead(m: Moment) -> int:
    """Rollout, or the exact end-game when it is one."""
    c = m.now
    return make_plan(c.problem, c.at, c.wrong_cost_min, m.seed, c.confident).best


WAYS: dict[str, tuple[Way, bool]] = {
    "half-split by hand": (half_split, False),
    "information, no travel": (no_travel, False),
    "fixed order along the path": (along_the_path, False),
    "base rule": (base_rule, False),
    "rollout": (looking_ahead, False),
    "the program": (looking_ahead, True),
}


@dataclass(frozen=True)
class Result:
    """Minutes, tests, and whether the repair proposed first is not needed."""

    minutes: float
    tests: int
    wrong: bool


def _along(circuit: Circuit, c: Choice) -> NDArray[np.int64]:
    place: dict[str, int] = {}
    for path in circuit.paths:
        for hop in path.hops:
            place.setdefault(key(str(getattr(hop, "part", hop))), len(place))
    return np.asarray([place.get(key(t.spot.a.part), len(place)) for t in c.panel.tests], np.int64)


def _done(c: Choice, info: Array, whole: bool, seed: int) -> bool:
    p = c.problem
    if whole:
        return make_plan(p, c.at, c.wrong_cost_min, seed, c.confident).stop.is_so
    return float(group_mass(p, p.prior).max()) >= c.confident or info.max(initial=0.0) < TELLS_BITS


def play(circuit: Circuit, hidden: tuple[Fault, ...], complaint: str, way: Way, whole: bool) -> Result:
    """One job by one way of choosing."""
    vehicle, readings, minutes, here, tests = Vehicle(circuit, hidden), complaint, 0.0, NextOptions(), 0
    while tests < MOST_TESTS:
        c = choice(judge(circuit, readings), here)
        info = np.where(c.problem.tests.allowed, group_bits(c.problem.prior, c.problem.group,
                                                            c.problem.tests.outcome), 0.0)  # fmt: skip
        if _done(c, info, whole, tests):
            break
        k = way(Moment(c, info, _along(circuit, c), tests))
        t, words = c.panel.tests[k], c.classes[k]
        low = [float(x) if np.isfinite(x) else None for x in words.low]
        outcomes = [{"words": w, "low": x} for w, x in zip(words.words, low, strict=True)]
        asked = {"line": reading_line(circuit, t), "instrument": t.instrument, "outcomes": outcomes}
        readings += vehicle.answer(asked, readings) + "\n"
        minutes += c.problem.price(k, c.at).total
        tests += 1
        opened = tuple(dict.fromkeys((*here.opened, t.place)))
        here = NextOptions(place=t.place, start_phase=drive_cycle(circuit)[t.phase].name, opened=opened)
    answer = suspects_answer(judge(circuit, readings), {}, SuspectOptions())
    found = first_right(circuit, answer, hidden)
    return Result(minutes, tests, found is None or found[0] != 1)


def table(rows: dict[str, list[Result]]) -> str:
    """A line a way."""
    base = np.asarray([r.minutes for r in rows["base rule"]])
    out = []
    for name, mine in rows.items():
        m = np.asarray([r.minutes for r in mine])
        gap, se = float((m - base).mean()), float((m - base).std()) / len(m) ** 0.5
        out.append(
            f"{name:28} {m.mean():6.2f} min (80 %: {np.quantile(m, 0.8):5.1f}), "
            f"{np.mean([r.tests for r in mine]):4.1f} tests, wrong {np.mean([r.wrong for r in mine]):5.1%}, "
            f"against the base rule {gap:+6.2f} +- {2 * se:.2f} (2 SE)"
        )
    return "\n".join(out)


def main(argv: Sequence[str]) -> int:
    """Play and print."""
    parser = argparse.ArgumentParser(description="ways of choosing the next test, on circuits")
    parser.add_argument("--jobs", type=int, default=1, help="jobs a circuit")
    parser.add_argument("--circuits", nargs="*", default=ON)
    parser.add_argument("--doubles-share", type=float, default=DOUBLES)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args(argv)
    rows: dict[str, list[Result]] = {name: [] for name in WAYS}
    began, count = time.process_time(), 0
    for name, sheet in circuits(asked.circuits).items():
        circuit = parse(sheet)
        for job in jobs(name, sheet, asked.jobs, asked.doubles_share, asked.seed):
            count += 1
            for way, (choose, whole) in WAYS.items():
                rows[way].append(play(circuit, job.hidden, job.complaint, choose, whole))
        print(
            f"{name}: {count} jobs so far, {time.process_time() - began:.0f} s of one core", file=sys.stderr
        )
    print(f"{count} jobs on {len(asked.circuits)} circuits\n" + table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
