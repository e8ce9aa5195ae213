"""The public stories as one table. `python -m benchmarks.story_table`

For each: the rank of the true cause by what the story tells; how many readings it tells; how many of our own
proposals are needed, and how many minutes, when a vehicle with the true cause answers them from the complaint
alone, and the rank then; parts the story exchanged in vain that are not what would be repaired; readings of
the story that are called doubtful or that fit nothing.
"""

from __future__ import annotations

import sys

from amptrail.circuit.model import Circuit, Fault
from amptrail.jobs.judging.desk import NextOptions
from amptrail.jobs.judging.suspects import judge, suspects
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.sheet import parse, parse_fault
from benchmarks.story_ranks import Story, rank, stories
from benchmarks.whole_jobs import MOST_TESTS, first_right, one_round


def hidden_of(circuit: Circuit, story: Story) -> tuple[Fault, ...]:
    """The first spelling of the true cause that a vehicle shows; none when an owner would notice nothing."""
    for text in story.truths:
        faults = parse_fault(circuit, text)
        if Vehicle(circuit, faults).complaint():
            return faults
    return ()


def vain(circuit: Circuit, story: Story) -> str:
    """Parts the story exchanged without effect, and how many of them are not our first suspect's."""
    seen = judge(circuit, story.readings).seen
    parts = [o.part for o in seen.words if o.kind == "exchanged" and o.part]
    if not parts:
        return "-"
    first = suspects(story.sheet, story.readings)["suspects"][0]
    blamed = {f["part"] for f in first["faults"]}
    return f"{sum(p not in blamed for p in parts)} of {len(parts)}"


def played(circuit: Circuit, story: Story) -> tuple[str, str, str]:
    """(tests, minutes, rank at the stop) when a vehicle with the true cause answers."""
    hidden = hidden_of(circuit, story)
    if not hidden:
        return "no complaint", "-", "-"
    r = one_round(circuit, hidden, Vehicle(circuit, hidden).complaint(), NextOptions(), MOST_TESTS)
    found = first_right(circuit, r.answer, hidden)
    return str(r.tests), f"{r.minutes:.0f}", str(found[0]) if found else "not listed"


def row(story: Story) -> str:
    """One line of the table."""
    circuit = parse(story.sheet)
    answer = suspects(story.sheet, story.readings)
    told = answer["readings_used"]
    doubt = answer["doubtful_reading"]
    flagged = [f"line {doubt['line']}"] if doubt else []
    flagged += ["nothing fits"] if answer["unexplained"]["is"] else []
    tests, minutes, then = played(circuit, story)
    place = rank(circuit, answer, story.truths)
    return (
        f"{story.name:6}{place if place is not None else 'not listed':>10}{told:>8}{tests:>14}{minutes:>9}"
        f"{then:>12}{vain(circuit, story):>10}  {', '.join(flagged) or '-'}"
    )


def main() -> int:
    """Print the table."""
    head = f"{'story':6}{'rank':>10}{'told':>8}{'our tests':>14}{'minutes':>9}{'rank then':>12}"
    print(f"{head}{'in vain':>10}  flagged")
    for s in stories():
        print(row(s), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
