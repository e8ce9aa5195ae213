"""A sheet with variants at the terminal: by which drawing the vehicle may be built, and what would tell."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from amptrail.cli.show_case import folded
from amptrail.jobs.base.figures import built, tell_apart

Json = dict[str, Any]


def shares(c: Console, drawings: list[Json]) -> None:
    """Which of several drawings the vehicle may be built by."""
    if drawings:
        folded(c, built(drawings), "", "  ")


def apart(c: Console, drawings: list[Json], t: Json, lead: str) -> None:
    """The test that tells the drawings apart; `lead`: where its other lead goes."""
    out = f" with {', '.join(t['with'])}" if t["with"] else ""
    c.print()
    folded(c, f"To tell by which drawing it is built, {t['place']}, {t['phase']}:", "", "  ")
    for caution in t["cautions"]:
        folded(c, f"CAUTION: {caution}", "  ", "    ")
    folded(c, f"{t['instrument']} at {t['point']}{out}{lead}", "  ", "    ")
    for words in tell_apart(drawings, t):
        folded(c, words, "    ", "      ")
    for k, line in enumerate(t["line"].split("\n")):
        c.print(f"    {'then write: ' if k == 0 else '            '}{line}", soft_wrap=True)
