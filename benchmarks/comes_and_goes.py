"""Jobs whose fault comes and goes, to the stop: `python -m benchmarks.comes_and_goes [--jobs N] [--seed N]`.

A contact or wire that opens, or has 5 ohm, at four tries of ten. The owner counts; what is to be read while
it fails is read then, anything else of the vehicle as it happens to be; what is moved by hand jumps as often
as `evidence.moving` says. Printed: how often what ranks first at the stop is to be repaired, tests, minutes,
and how many tests waited for it or brought it about.
"""

from __future__ import annotations

import statistics
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import Any

from amptrail.circuit.model import Circuit, Fault
from amptrail.errors import InputError
from amptrail.faults import Hypothesis as Cause
from amptrail.faults import catalogue
from amptrail.jobs.evidence.moving import JUMPS, STAYS, moved
from amptrail.jobs.judging.nexttest import NextOptions, next_answer
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.jobs.solved.conditions import Conditions
from amptrail.sheet import fault_text, parse, parse_fault
from benchmarks.whole_jobs import arguments, left_after, over_circuits

SHOWS, COUNTED, BAD_OHM, MOST_TESTS = 0.4, "works 6 of 10", 5.0, 20
OFTEN = 0.3  # kinds of fault that come and go at least as often as this
MODES = ("open", "resistance")


@dataclass(frozen=True)
class Played:
    """How one job ended."""

    fault: str
    right: bool
    tests: int
    minutes: float
    waited: int
    provoked: int
    lines: tuple[str, ...]


def hidden(circuit: Circuit, count: int, rng: Random) -> Iterator[tuple[Cause, tuple[Fault, ...], str]]:
    """Causes that come and go, as they are when they show, and what their owner counts."""
    causes = [c for c in catalogue(circuit) if len(c.faults) == 1 and c.faults[0].mode in MODES]
    causes = [c for c in causes if c.intermittent >= OFTEN]
    made = 0
    for c in rng.choices(causes, [x.prior * x.intermittent for x in causes], k=40 * count):
        text = fault_text(circuit, c.faults)
        faults = parse_fault(circuit, f"{text} {BAD_OHM:g} ohm") if c.severity else c.faults
        told = Vehicle(circuit, faults).complaint().strip()
        if "does not work" in told:
            made += 1
            yield c, faults, told.replace("does not work", COUNTED)
        if made == count:
            return


def play(circuit: Circuit, cause: Cause, faults: tuple[Fault, ...], told: str, rng: Random) -> Played:
    """From the complaint to the stop."""
    failing, working = Vehicle(circuit, faults), Vehicle(circuit, ())
    lines, tests, minutes, waited, provoked = [told], 0, 0.0, 0, 0
    while tests < MOST_TESTS:
        got = next_answer(judge(circuit, "\n".join(lines)), NextOptions())
        if got["stop"]["is"] or not got["visits"]:
            break
        t = got["visits"][0]["tests"][0]
        waited, provoked = waited + (t["while"] is not None), provoked + (t["watch"] is not None)
        now = failing if t["while"] or rng.random() < SHOWS else working
        lines += _answered(circuit, t, now, cause, lines, rng).split("\n")
        tests, minutes = tests + 1, minutes + t["minutes_min"]["total"]
    rows = suspects_answer(judge(circuit, "\n".join(lines)), {}, SuspectOptions())["suspects"]
    right = left_after(circuit, rows[0], faults) is not None
    return Played(fault_text(circuit, faults), right, tests, minutes, waited, provoked, tuple(lines))


def _answered(
    circuit: Circuit, t: dict[str, Any], now: Vehicle, cause: Cause, lines: Sequence[str], rng: Random
) -> str:
    """The test's line with what the vehicle shows."""
    if t["watch"]:
        jumps = rng.random() < moved(circuit, t["point"], JUMPS, (cause,), Conditions())
        return str(t["line"]).replace("{value}", JUMPS if jumps else STAYS)
    return now.answer(t, "\n".join(lines) + "\n")


def summary(rows: Sequence[Played]) -> str:
    """One line."""
    if not rows:
        return "no job"
    right, waited, provoked = (sum(getattr(r, k) for r in rows) for k in ("right", "waited", "provoked"))
    tests, minutes = (statistics.mean(getattr(r, k) for r in rows) for k in ("tests", "minutes"))
    return (
        f"{len(rows):3} jobs: first at the stop right {right}, {tests:.1f} tests and {minutes:.0f} min "
        f"a job, {waited} waited for, {provoked} moved by hand"
    )


def main(argv: Sequence[str]) -> int:
    """Play and print."""
    asked = arguments("jobs whose fault comes and goes").parse_args(argv)

    def played(name: str, sheet: str) -> list[Played]:
        circuit, rng = parse(sheet), Random(f"{name}/{asked.seed}")
        rows = []
        for cause, faults, told in hidden(circuit, asked.jobs, rng):
            try:
                rows.append(play(circuit, cause, faults, told, rng))
            except InputError as e:
                raise SystemExit(f"{name}: {fault_text(circuit, faults)}: {e}") from e
            if asked.show and not rows[-1].right:
                print(f"-- {name}: {rows[-1].fault}\n     " + "\n     ".join(rows[-1].lines), flush=True)
        return rows

    over_circuits(asked.circuits, played, summary)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
