"""How many requests a second one warm `batch` answers: single readings, healthy and with a fault.

Run: python -m benchmarks.batch_bench [--requests N] [--sheet FILE]
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import Any

from amptrail.cli.batch import answers

SHEET = Path(__file__).parent.parent / "demos" / "camper.sheet"


def checked(sheet: str) -> Any:
    """What the sheet names (the first answer of every driver of the program)."""
    return next(iter(answers([request(0, ["check", "s.sheet"], sheet)])))


def request(number: int, argv: list[str], sheet: str) -> str:
    """One line of a batch."""
    return json.dumps({"id": number, "argv": argv, "files": {"s.sheet": sheet}})


def requests(sheet: str, count: int, with_fault: bool) -> list[str]:
    """Readings at every point and phase in turn, each with another fault when wanted."""
    known = checked(sheet)
    points = [p["name"] for p in known["points"] if p["what"] == "volts"]
    phases = [p["name"] for p in known["phases"]]
    faults = [f["text"] for f in known["faults"]]
    rows = []
    for k in range(count):
        argv = ["expect", "s.sheet", "--phase", phases[k % len(phases)], "--at", points[k % len(points)]]
        argv += ["--with", "meter", "--nominal"]
        argv += ["--fault", faults[k % len(faults)]] if with_fault else []
        rows.append(request(k, argv, sheet))
    return rows


def rate(sheet: str, count: int, with_fault: bool) -> float:
    """Requests a second, once warm; every answer must be a good one."""
    lines = requests(sheet, count, with_fault)
    list(answers(lines[:5]))
    began = time.perf_counter()
    got = list(answers(lines))
    spent = time.perf_counter() - began
    bad = [a for a in got if a["exit"] != 0]
    assert not bad, bad[0]["problems"]
    return count / spent


def main() -> None:
    """Print both rates."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--requests", type=int, default=400)
    p.add_argument("--sheet", type=Path, default=SHEET)
    o = p.parse_args()
    sheet = o.sheet.read_text(encoding="utf-8")
    parts = checked(sheet)["counts"]["parts"]
    for words, with_fault in (("healthy", False), ("with a fault", True)):
        print(f"{o.sheet.name}, {parts} parts, {words}: {rate(sheet, o.requests, with_fault):.0f} requests/s")


if __name__ == "__main__":
    main()
