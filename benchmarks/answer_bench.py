"""From a reading entered to suspects and the next visit, and the first answer of a cold process.

Run: python -m benchmarks.answer_bench [--size 60]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from amptrail.circuit.model import Term
from amptrail.faults import changes
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import print_sheet
from amptrail.solve import Tap, assemble, read, run
from benchmarks.generator import faults, generate, points

DEMOS = Path(__file__).parent.parent / "demos"
READINGS = 5
COMMAND = "from amptrail.cli.main import run; run()"


def told(size: int, seed: int) -> tuple[str, list[str]]:
    """A generated sheet and readings of a hidden double fault on it, in the words of a readings file."""
    circuit = generate(size, seed)
    net = assemble(circuit)
    (hidden,) = faults(circuit, 1, seed, doubles=1.0)
    runs = run(net, [tuple(c for f in hidden for c in changes(net, f)), ()])
    where = [t for t in points(circuit) if isinstance(t, Term)]
    got = read(net, runs, [Tap(t) for t in where])
    moved = abs(got.value[0] - got.value[1])
    slots = [(k, t) for k in range(len(net.phases)) for t in range(len(where))]
    slots.sort(key=lambda kt: -moved[kt])
    lines = [f"{where[t]} in {net.phases[k].name} meter {got.value[0, k, t]:.2f}" for k, t in slots[::7]]
    lines = lines[:READINGS]
    return print_sheet(circuit), lines


def entered(size: int, seed: int) -> list[tuple[float, float, int]]:
    """(seconds of both answers, of processor time, pairs weighed) after each reading but the first, warm."""
    sheet, lines = told(size, seed)
    spent = []
    for k in range(1, len(lines) + 1):
        text = "\n".join(lines[:k])
        began, used = time.perf_counter(), time.process_time()
        found = suspects(sheet, text)
        next_tests(sheet, text)
        pairs = int(found["doubles_considered"])
        spent.append((time.perf_counter() - began, time.process_time() - used, pairs))
    return spent[1:]


def cold(home: str, *argv: str) -> float:
    """Seconds of a whole process, compiled code and bytecode on disk, as an installed program has them;
    `home`: the folder of its job log."""
    shell = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    shell["AMPTRAIL_HOME"] = home
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, *argv],
        capture_output=True,
        text=True,
        check=False,
        env=shell,
    )
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stderr[-500:])
    return time.perf_counter() - began


def main() -> None:
    """Print the figures."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--size", type=int, default=60)
    asked = p.parse_args()
    took = [s for seed in range(3) for s in entered(asked.size, seed)]
    for what, some in (
        ("singles", [s for s in took if not s[2]]),
        ("with pairs", [s for s in took if s[2]]),
    ):
        if some:
            wall, used = (1e3 * median(s[k] for s in some) for k in (0, 1))
            print(f"a reading entered -> suspects and next visit, {asked.size} parts, {what}:"
                  f" {wall:.0f} ms (processor {used:.0f} ms), median of {len(some)}")  # fmt: skip
    sheet, readings = str(DEMOS / "sprayer.sheet"), str(DEMOS / "sprayer.readings")
    with tempfile.TemporaryDirectory() as new, tempfile.TemporaryDirectory() as kept:
        cold(kept, "job", "new", "bench", sheet, "--complaint", "does not run")
        for home, of in ((new, "no job kept yet"), (kept, "a job log to look into")):
            cold(home, "next", sheet, readings, "--json")  # its bytecode is written once
            for argv in (("check", sheet), ("suspects", sheet, readings), ("next", sheet, readings)):
                each = median(cold(home, *argv, "--json") for _ in range(3))
                print(f"cold: amptrail {argv[0]}, {of}: {each:.2f} s")


if __name__ == "__main__":
    main()
