"""Whole jobs: a hidden fault answers our own proposals until `next` says stop.

    python -m benchmarks.whole_jobs [--jobs N] [--circuits NAME ..] [--doubles-share X] [--show]

Circuits: the demos, the three given ones of the neutral format, generated vehicles. Hidden faults are drawn
from the catalogue by prior, severity log-uniform, and kept when the owner would notice anything. A job
starts with what the owner says (one function that fails) and nothing else. Printed: share proven at rank 1
and among the first three when told to stop, jobs stopped early without the truth, jobs that never stop,
minutes and tests. A hit is a listed suspect (or one equivalent to it) whose repair is needed, by place and
way of failing; severities are not compared. With two hidden faults the job goes on after the first repair as
long as the owner would still complain; its rank is then the worse of the two.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any, TypeVar

from amptrail.circuit.model import Circuit, Fault
from amptrail.exchange.oracle import to_circuit
from amptrail.faults import catalogue
from amptrail.jobs.judging.nexttest import NextOptions, next_answer
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.practise.practicevehicle import Vehicle, drawn
from amptrail.sheet import fault_text, parse, parse_fault, print_sheet
from benchmarks.generator import sheet_text
from benchmarks.story_ranks import same_fault

R = TypeVar("R")
ROOT = Path(__file__).parent.parent
MOST_TESTS = 25
FIRST = 3
ASK_AGAIN_MIN = 0.5  # trying once more what failed, after a repair


@dataclass(frozen=True)
class Job:
    """A sheet, what is hidden in it, and what the owner says."""

    name: str
    sheet: str
    hidden: tuple[Fault, ...]
    complaint: str


@dataclass(frozen=True)
class Result:
    """How a job went: rank of the truth at the stop (None: not listed), tests, minutes, why it stopped."""

    job: Job
    rank: int | None
    tests: int
    minutes: float
    reason: str
    seconds: float
    probability: float
    lines: tuple[str, ...]

    @property
    def stopped(self) -> bool:
        return self.reason != "never"


def circuits(names: Sequence[str] = ()) -> dict[str, str]:
    """Sheets by name: demos, the given circuits of the neutral format, generated vehicles."""
    found = {p.stem: p.read_text(encoding="utf-8") for p in sorted((ROOT / "demos").glob("*.sheet"))}
    for p in sorted((ROOT / "authorities" / "oracle").glob("c*/circuit.json")):
        found[p.parent.name[:3]] = print_sheet(to_circuit(json.loads(p.read_text(encoding="utf-8"))))
    found |= {f"made{size}-{seed}": sheet_text(size, seed) for size, seed in ((30, 1), (30, 2), (60, 1))}
    unknown = set(names) - set(found)
    if unknown:
        raise SystemExit(f"no circuit is called {sorted(unknown)}; there are {sorted(found)}")
    return {n: found[n] for n in names} if names else found


def jobs(name: str, sheet: str, count: int, doubles: float, seed: int) -> Iterator[Job]:
    """`count` jobs on one circuit whose fault an owner would notice."""
    circuit = parse(sheet)
    causes = [c for c in catalogue(circuit) if c.faults]
    rng = Random(f"{name}/{seed}")
    made = 0
    for _ in range(60 * count):
        if made == count:
            return
        hidden = drawn(rng, causes)
        if rng.random() < doubles:
            hidden = (*hidden, *drawn(rng, causes))
        complaint = Vehicle(circuit, hidden).complaint()
        if complaint:
            made += 1
            yield Job(name, sheet, hidden, complaint)


def own_jobs(name: str, sheet: str, count: int) -> Iterator[Job]:
    """Jobs whose hidden faults are those the sheet itself names."""
    circuit = parse(sheet)
    for f in circuit.faults[:count]:
        complaint = Vehicle(circuit, f.faults).complaint()
        if complaint:
            yield Job(name, sheet, f.faults, complaint)


def left_after(circuit: Circuit, row: dict[str, Any], hidden: Sequence[Fault]) -> tuple[Fault, ...] | None:
    """What is still broken once a listed suspect (or one that cannot be told from it) is repaired; None when
    the repair would do nothing, or something that is not needed."""
    texts = [[f["text"] for f in row["faults"]], *[[t] for t in row["equivalent"]]]
    best: tuple[Fault, ...] | None = None
    for group in texts:
        said = [f for t in group for f in parse_fault(circuit, t)]
        if said and all(any(same_fault(circuit, s, h) for h in hidden) for s in said):
            left = tuple(h for h in hidden if not any(same_fault(circuit, s, h) for s in said))
            best = left if best is None or len(left) < len(best) else best
    return best


def first_right(
    circuit: Circuit, answer: dict[str, Any], hidden: Sequence[Fault]
) -> tuple[int, tuple[Fault, ...]] | None:
    """Rank of the first suspect whose repair is needed, and what is broken after it."""
    for r in answer["suspects"]:
        left = left_after(circuit, r, hidden)
        if left is not None:
            return int(r["rank"]), left
    return None


@dataclass(frozen=True)
class Round:
    """From one complaint to a stop: what was entered, minutes, tests, why it stopped, and the answer then."""

    lines: tuple[str, ...]
    minutes: float
    tests: int
    reason: str
    answer: dict[str, Any]
    here: NextOptions


def one_round(
    circuit: Circuit, hidden: tuple[Fault, ...], complaint: str, here: NextOptions, most: int
) -> Round:
    """Judge, ask what is next, let the vehicle answer, until told to stop."""
    vehicle = Vehicle(circuit, hidden)
    readings, minutes, tests, lines = complaint, 0.0, 0, [complaint.strip()]
    while True:
        j = judge(circuit, readings)
        told = next_answer(j, here)
        if told["stop"]["is"]:
            reason = told["stop"]["reason"]
            break
        if tests == most or not told["visits"]:
            reason = "never" if tests == most else "nothing offered"
            break
        test = told["visits"][0]["tests"][0]
        filled = vehicle.answer(test, readings)
        readings += filled + "\n"
        lines.append(
            f"{test['minutes_min']['total']:5.1f} min  {test['action']:8} " + " | ".join(filled.split("\n"))
        )
        minutes += test["minutes_min"]["total"]
        tests += 1
        here = NextOptions(place=test["place"], start_phase=test["phase"],
                           opened=tuple(dict.fromkeys((*here.opened, test["place"]))))  # fmt: skip
    answer = suspects_answer(j, {}, SuspectOptions())
    top = answer["suspects"][0]
    lines.append(f"stop: {reason}; first {top['text']} {top['probability']:.2f}")
    return Round(tuple(lines), minutes, tests, reason, answer, here)


def play(job: Job, most: int = MOST_TESTS) -> Result:
    """The whole job: until told to stop, repair, does it work now? If not, on from what still fails."""
    circuit, began = parse(job.sheet), time.monotonic()
    hidden, complaint, here = job.hidden, job.complaint, NextOptions()
    lines: list[str] = []
    minutes, tests, rank = 0.0, 0, 0
    for _ in range(len(job.hidden)):
        r = one_round(circuit, hidden, complaint, here, most)
        minutes, tests, here = minutes + r.minutes, tests + r.tests, r.here
        lines += r.lines
        found = first_right(circuit, r.answer, hidden)
        if found is None:
            rank = 0
            break
        rank, hidden = max(rank, found[0]), found[1]
        complaint = Vehicle(circuit, hidden).complaint() if hidden else ""
        if not complaint or r.reason == "never":
            break
        lines.append("repaired: does it work now? no")
        minutes += ASK_AGAIN_MIN
    top = r.answer["suspects"][0]["probability"]
    return Result(job, rank or None, tests, minutes, r.reason, time.monotonic() - began, top, tuple(lines))


def summary(results: Sequence[Result]) -> str:
    """The table."""
    if not results:
        return "no jobs"
    n = len(results)
    first = sum(r.rank == 1 for r in results)
    three = sum(r.rank is not None and r.rank <= FIRST for r in results)
    early = sum(r.stopped and (r.rank is None or r.rank > FIRST) for r in results)
    never = sum(not r.stopped for r in results)
    return (
        f"{n} jobs: rank 1 {first / n:.0%}, first three {three / n:.0%}, stopped without the truth {early}, "
        f"never stopped {never}; minutes mean {statistics.mean(r.minutes for r in results):.1f} "
        f"median {statistics.median(r.minutes for r in results):.1f}, tests mean "
        f"{statistics.mean(r.tests for r in results):.1f}; "
        f"{statistics.mean(r.seconds for r in results):.1f} s a job"
    )


def arguments(what: str) -> argparse.ArgumentParser:
    """What every benchmark that plays jobs is asked."""
    parser = argparse.ArgumentParser(description=what)
    parser.add_argument("--jobs", type=int, default=6, help="jobs a circuit")
    parser.add_argument("--circuits", nargs="*", default=(), help="only these")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--show", action="store_true", help="print the lines of jobs that went wrong")
    return parser


def over_circuits(
    names: Sequence[str], played: Callable[[str, str], Sequence[R]], summary: Callable[[Sequence[R]], str]
) -> None:
    """The jobs `played` on each circuit (name, sheet), a line each and one of all."""
    everything: list[R] = []
    for name, sheet in circuits(names).items():
        mine = played(name, sheet)
        print(f"{name:12} {summary(mine)}", flush=True)
        everything += mine
    print(f"{'all':12} {summary(everything)}")


def main(argv: Sequence[str]) -> int:
    """Play and print."""
    parser = arguments("whole jobs against a hidden fault")
    parser.add_argument("--doubles-share", type=float, default=0.15, help="share with two faults")
    parser.add_argument("--own", action="store_true", help="the faults the sheets themselves name")
    asked = parser.parse_args(argv)

    def played(name: str, sheet: str) -> list[Result]:
        drawn_jobs = jobs(name, sheet, asked.jobs, asked.doubles_share, asked.seed)
        mine = []
        for job in own_jobs(name, sheet, asked.jobs) if asked.own else drawn_jobs:
            r = play(job)
            mine.append(r)
            if asked.show and (r.rank is None or r.rank > FIRST or not r.stopped):
                print(f"-- {name}: {fault_text(parse(sheet), job.hidden)} (rank {r.rank})")
                print("\n".join(f"     {x}" for x in r.lines), flush=True)
        return mine

    over_circuits(asked.circuits, played, summary)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
