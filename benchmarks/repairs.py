"""Jobs with two faults, to the end: what `next` proposes is carried out, a repair in vain is told, and on.

    python -m benchmarks.repairs [--jobs N] [--circuits NAME ..] [--faults N] [--seed N] [--show]

As `whole_jobs` (circuits, hidden faults, answers of the vehicle), but nobody helps: at a stop what ranks
first is repaired, right or wrong. A new part takes away what a new part cures (`acting.curable`), a short is
looked for where it is said to be, and `POINT repaired` told of it. Then what failed is tried again:
`PART replaced, no change` when it still fails, the new complaint when something else does. A job ends right
when its owner complains of nothing.
`--one "W3 open" "W11.out to supply"` plays one job on one circuit.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from amptrail.circuit.model import TOUCHES, Circuit, Fault, key
from amptrail.jobs.judging.nexttest import NextOptions, next_answer
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.sheet import fault_text, parse, parse_fault
from amptrail.sheet.words import name_text, term_text
from benchmarks.whole_jobs import ASK_AGAIN_MIN, Job, arguments, jobs, over_circuits

MOST_TESTS, MOST_REPAIRS = 25, 5


@dataclass
class Course:
    """How a job is going."""

    hidden: tuple[Fault, ...]
    readings: str
    lines: list[str]
    tests: int = 0
    minutes: float = 0.0
    wrong: int = 0
    repairs: int = 0
    again: int = 0
    renewed: list[str] = field(default_factory=list)
    ended: str = ""


def _repair(circuit: Circuit, c: Course, row: dict[str, Any]) -> tuple[list[str], list[str]]:
    """Carry out the repair of a listed suspect: points mended where a short was found, or looked for in vain,
    and parts renewed. A short is looked for at every place no reading tells from the one named."""
    said = [f for x in row["faults"] for f in parse_fault(circuit, x["text"])]
    alike = [f for t in row["equivalent"] for f in parse_fault(circuit, t)]
    mended, renewed = list[str](), list[str]()
    parts = {key(p.name): p.name for p in circuit.parts}
    for f in said:
        part = parts.get(key(f.at.part))
        if f.mode in TOUCHES:
            there = [x for x in (f, *alike) if x.mode == f.mode]
            found = tuple(h for h in c.hidden if any(_touch(x, h) for x in there))
            if not found:
                c.wrong += 1
            mended += dict.fromkeys(term_text(x.at) for x in found or there)
            c.hidden = tuple(h for h in c.hidden if h not in found)
        elif part is not None and part not in row.get("renewed", ()):
            cured = tuple(h for h in c.hidden if h.mode not in TOUCHES and key(h.at.part) == key(part))
            c.hidden = tuple(h for h in c.hidden if h not in cured)
            c.wrong += not cured
            c.again += part in c.renewed
            c.renewed.append(part)
            renewed.append(part)
    return mended, renewed


def _touch(a: Fault, b: Fault) -> bool:
    return a.mode == b.mode and key(a.at.part) == key(b.at.part)


def _told(circuit: Circuit, c: Course, mended: list[str], renewed: list[str]) -> list[str]:
    """The lines after a repair."""
    vehicle = Vehicle(circuit, c.hidden)
    complaint = vehicle.complaint()
    first = c.lines[0]
    unchanged = complaint and _still(vehicle, first, c.readings)
    lines = [f"{at} repaired" for at in mended]
    lines += [f"{name_text(p)} replaced" for p in renewed]
    if unchanged:
        if renewed or mended:
            lines[-1] += ", no change"
        return lines or [first]
    now = vehicle.ask(_asked(first), c.readings)[0] if " clamp " not in first else None
    if now is not None:
        lines.append(_asked(first).replace("{value}", now))
    if complaint:
        lines.append(complaint.strip())
        c.lines[0] = complaint.strip()
    return lines


def _asked(line: str) -> str:
    return line.replace("does not work", "{value}").replace(" works", " {value}")


def _still(vehicle: Vehicle, line: str, readings: str) -> bool:
    """Whether the complaint is still so."""
    if " clamp " in line:
        return bool(vehicle.complaint())
    return _asked(line).replace("{value}", vehicle.ask(_asked(line), readings)[0]) == line


def _tested(circuit: Circuit, c: Course, here: NextOptions) -> NextOptions | None:
    """The next test done; None when told to stop or nothing is offered."""
    told = next_answer(judge(circuit, c.readings), here)
    if told["stop"]["is"] or not told["visits"] or c.tests >= MOST_TESTS:
        return None
    test = told["visits"][0]["tests"][0]
    filled = Vehicle(circuit, c.hidden).answer(test, c.readings)
    c.readings += filled + "\n"
    c.lines.append(f"{test['minutes_min']['total']:5.1f} min  " + " | ".join(filled.split("\n")))
    c.minutes += test["minutes_min"]["total"]
    c.tests += 1
    return NextOptions(place=test["place"], start_phase=test["phase"],
                       opened=tuple(dict.fromkeys((*here.opened, test["place"]))))  # fmt: skip


def play(job: Job) -> Course:
    """The job until nothing is left to complain of, or it is given up."""
    circuit, here = parse(job.sheet), NextOptions()
    c = Course(job.hidden, job.complaint, [job.complaint.strip()])
    while not c.ended:
        while (there := _tested(circuit, c, here)) is not None:
            here = there
        answer = suspects_answer(judge(circuit, c.readings), {}, SuspectOptions())
        row = next((r for r in answer["suspects"] if r["faults"]), None)
        if row is None or answer["suspects"][0] is not row or "instrument" in row["text"]:
            c.ended = "nothing to repair"
            break
        mended, renewed = _repair(circuit, c, row)
        c.repairs += 1
        c.minutes += row["repair_minutes"] + ASK_AGAIN_MIN
        lines = _told(circuit, c, mended, renewed)
        c.readings += "\n".join([*lines, ""])
        c.lines.append(f"stop: {row['text']} {row['probability']:.2f}; repaired, then: " + " | ".join(lines))
        if not Vehicle(circuit, c.hidden).complaint():
            c.ended = "right"
        elif c.repairs == MOST_REPAIRS or c.tests >= MOST_TESTS:
            c.ended = "given up"
    return c


def summary(done: Sequence[Course]) -> str:
    """The table."""
    if not done:
        return "no jobs"
    right = [c for c in done if c.ended == "right"]
    return (
        f"{len(done)} jobs: ended right {len(right)}, given up {sum(c.ended == 'given up' for c in done)}, "
        f"nothing to repair {sum(c.ended == 'nothing to repair' for c in done)}; wrong repairs "
        f"{sum(c.wrong for c in done)}, the same again {sum(c.again for c in done)}; tests mean "
        f"{statistics.mean(c.tests for c in done):.1f}, minutes mean "
        f"{statistics.mean(c.minutes for c in done):.1f}"
    )


def main(argv: Sequence[str]) -> int:
    """Play and print."""
    parser = arguments("jobs with several faults, to the end")
    parser.add_argument("--faults", type=int, default=2, choices=(1, 2), help="hidden in each job")
    parser.add_argument("--one", nargs="*", default=(), help="play this job alone")
    asked = parser.parse_args(argv)

    def todo(name: str, sheet: str, circuit: Circuit) -> Iterable[Job]:
        if not asked.one:
            return jobs(name, sheet, asked.jobs, float(asked.faults - 1), asked.seed)
        hidden = tuple(f for t in asked.one for f in parse_fault(circuit, t))
        return [Job(name, sheet, hidden, Vehicle(circuit, hidden).complaint())]

    def played(name: str, sheet: str) -> list[Course]:
        mine, circuit = list[Course](), parse(sheet)
        for job in todo(name, sheet, circuit):
            c = play(job)
            mine.append(c)
            if asked.one or (asked.show and (c.ended != "right" or c.again)):
                print(f"-- {name}: {fault_text(circuit, job.hidden)}: {c.ended}, {c.wrong} wrong repairs")
                print("\n".join(f"     {x}" for x in c.lines), flush=True)
        return mine

    began = time.process_time()
    over_circuits(asked.circuits, played, summary)
    print(f"{time.process_time() - began:.0f} s of processor time")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
