"""Judged feeds for a person at 80 columns."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from amptrail.cli.figures import figure

Json = dict[str, Any]
VERDICT = {"holds": "HOLDS", "refused": "REFUSED", "undecided": "UNDECIDED"}


def _beside(row: Json) -> str:
    """A figure beside its limit, or nothing where it is on or off."""
    if row["unit"] == "on":
        return ""
    return f"  {figure(row['figure'], row['unit'])}, limit {figure(row['limit'], row['unit'])}"


def _marks(c: Console, head: str, rows: list[Json]) -> None:
    """Broken rules, one line for each rule and part: where it was worst met first."""
    seen: dict[tuple[str, str], Json] = {}
    for r in rows:
        seen.setdefault((r["rule"], r["part"]), r)
    for (rule, part), r in seen.items():
        c.print(f"  {head}: {rule.replace('_', ' ')}: {part} in {r['phase']}, start {r['start']}{_beside(r)}")


def show(c: Console, got: Json) -> None:
    for n, row in enumerate(got["feeds"], 1):
        c.print(f"\n{n}. {VERDICT[row['verdict']]} for {row['purpose']}: {row['text']}")
        if row["why"]:
            c.print(f"  {row['why']}")
        for only in row["true_only_if"]:
            c.print(f"  true only if {only}")
        if row["decides"]:
            c.print(f"  decided by: {row['decides']}")
        _marks(c, "broken", row["refusals"])
        _marks(c, "note", row["notes"])
        _marks(c, "so already without the feed", row["already_so"])
        if row["verdict"] != "refused":
            c.print(f"  about {row['minutes_min']:.0f} min; label:")
            for line in row["label"].splitlines():
                c.print(f"    | {line}")
