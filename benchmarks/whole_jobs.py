"""Whole jobs: a hidden fault answers our own proposals until `next` says stop.

    python -m benchmarks.whole_jobs [--jobs N] [--circuits NAME ..] [--doubles-share X] [--show]

Circuits: the demos, the three given ones of the neutral format, generated vehicles. Hidden faults are drawn
from the catalogue by prior, severity log-uniform, and kept when the owner would notice anything. A job
starts with what the owner says (one function that fails) and nothing else. Printed: share proven at rank 1
and among the first three when told to stop, jobs stopped early without the truth, jobs that never stop,
minutes and tests. A hit is a listed suspect (or one equivalent to it) that holds every hidden fault, by
place and way of failing; severities are not compared.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from amptrail.circuit.model import Circuit, Fault
from amptrail.exchange.oracle import to_circuit
from amptrail.faults import catalogue
from amptrail.jobs.nexttest import NextOptions, next_answer
from amptrail.jobs.practicevehicle import Vehicle, drawn
from amptrail.jobs.suspects import SuspectOptions, judge, suspects_answer
from amptrail.sheet import fault_text, parse, parse_fault, print_sheet
from benchmarks.generator import sheet_text
from benchmarks.story_ranks import same_fault

ROOT = Path(__file__).parent.parent
MOST_TESTS = 25
FIRST = 3


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


def hit(circuit: Circuit, row: dict[str, Any], hidden: Sequence[Fault]) -> bool:
    """Whether a listed suspect, or one that cannot be told from it, holds every hidden fault."""
    texts = [[f["text"] for f in row["faults"]], *[[t] for t in row["equivalent"]]]
    for group in texts:
        said = [f for t in group for f in parse_fault(circuit, t)]
        if all(any(same_fault(circuit, s, h) for s in said) for h in hidden):
            return True
    return False


def place_of_truth(circuit: Circuit, answer: dict[str, Any], hidden: Sequence[Fault]) -> int | None:
    """Rank of the first suspect that holds the truth."""
    return next((int(r["rank"]) for r in answer["suspects"] if hit(circuit, r, hidden)), None)


def play(job: Job, most: int = MOST_TESTS) -> Result:
    """The loop: judge, ask what is next, let the vehicle answer, until told to stop."""
    circuit = parse(job.sheet)
    vehicle = Vehicle(circuit, job.hidden)
    readings, minutes, tests, began = job.complaint, 0.0, 0, time.monotonic()
    here = NextOptions()
    lines = [job.complaint.strip()]
    reason = "never"
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
    rank = place_of_truth(circuit, answer, job.hidden)
    top = answer["suspects"][0]
    lines.append(f"stop: {reason}; first {top['text']} {top['probability']:.2f}")
    return Result(
        job, rank, tests, minutes, reason, time.monotonic() - began, top["probability"], tuple(lines)
    )


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


def main(argv: Sequence[str]) -> int:
    """Play and print."""
    parser = argparse.ArgumentParser(description="whole jobs against a hidden fault")
    parser.add_argument("--jobs", type=int, default=6, help="jobs a circuit")
    parser.add_argument("--circuits", nargs="*", default=(), help="only these")
    parser.add_argument("--doubles-share", type=float, default=0.15, help="share with two faults")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--own", action="store_true", help="the faults the sheets themselves name")
    parser.add_argument("--show", action="store_true", help="print the lines of jobs that went wrong")
    asked = parser.parse_args(argv)
    everything: list[Result] = []
    for name, sheet in circuits(asked.circuits).items():
        mine = []
        drawn_jobs = jobs(name, sheet, asked.jobs, asked.doubles_share, asked.seed)
        for job in own_jobs(name, sheet, asked.jobs) if asked.own else drawn_jobs:
            r = play(job)
            mine.append(r)
            if asked.show and (r.rank is None or r.rank > FIRST or not r.stopped):
                print(f"-- {name}: {fault_text(parse(sheet), job.hidden)} (rank {r.rank})")
                print("\n".join(f"     {x}" for x in r.lines), flush=True)
        print(f"{name:12} {summary(mine)}", flush=True)
        everything += mine
    print(f"{'all':12} {summary(everything)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
