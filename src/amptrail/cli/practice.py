"""The talk of `practice` at a terminal: a test, its answer, until something is said to be it."""

from __future__ import annotations

import sys
import time

from rich.console import Console

from amptrail.cli.files import Files
from amptrail.errors import InputError
from amptrail.jobs.practise.practice import EXAMPLE, PracticeOptions, practice


def watched(files: Files) -> bool:
    """Whether a person sits at the terminal (never so in a batch)."""
    return files.given is None and sys.stdin.isatty()


def talk(sheet: str, seed: int) -> str:
    """Ask for tests until the fault is named or given up; what was tried, as the file TRIES would hold it."""
    c = Console(stderr=True, highlight=False)
    begun = time.monotonic()
    got = practice(sheet, PracticeOptions(seed))
    c.print(f"The owner says: {got['owner']}", markup=False)
    c.print(f"Test as `{EXAMPLE}`; end with `it is X7.4 open` or `give up`.", markup=False)
    tries = ""
    while not got["ended"]:
        try:
            line = input(f"{got['minutes_min']:5.1f} min > ").strip()
        except EOFError:
            line = "give up"
        if not line:
            continue
        try:
            got = practice(sheet, PracticeOptions(seed, tries + line + "\n"))
        except InputError as e:
            for p in e.problems:
                c.print(f"{p.message}\n  do this: {p.remedy}", markup=False)
            continue
        tries += line + "\n"
        if got["tries"] and "?" in line:
            last = got["tries"][-1]
            c.print(f"      {last['read']}   ({last['minutes_min']:.1f} min)", markup=False)
    c.print(f"at this desk: {(time.monotonic() - begun) / 60:.1f} min", markup=False)
    return tries
