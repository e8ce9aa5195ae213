"""Judged feeds for a person at 80 columns."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from amptrail.jobs.base.figures import figure

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
        where = "" if r["phase"] == "any" else f" in {r['phase']}"
        start = "" if r["start"] == "any" else f", start {r['start']}"
        c.print(f"  {head}: {rule.replace('_', ' ')}: {part}{where}{start}{_beside(r)}")


def _fit(row: Json) -> str:
    """Wires, fuses and relays to fetch."""
    words = []
    for p in row["parts"]:
        if p["area_mm2"]:
            words.append(f"wire {p['area_mm2']:g} mm2 (AWG {p['awg']}) {p['length_m'] or 0:g} m")
        else:
            words.append(f"{p['what']} {p['rating_a']:g} A" if p["rating_a"] else p["what"])
    return ", ".join(words)


def _lanes(drawing: str) -> str:
    """The lanes of a drive cycle and what its numbers stand for, without the list of events."""
    return "\n\n".join(drawing.split("\n\n")[:2])


def _searched(c: Console, s: Json) -> None:
    taken = "nobody said what is broken; taken as broken" if s["assumed"] else "broken"
    c.print(
        f"to restore {', '.join(s['functions'])}; {taken}: {s['against']}; {s['looked_at']} feeds looked at"
    )


def show(c: Console, got: Json) -> None:
    if "search" in got:
        _searched(c, got["search"])
    fitted = [row for row in got["feeds"] if row["verdict"] != "refused"]
    for caution in dict.fromkeys(c for row in fitted for c in row["cautions"]):
        c.print(f"CAUTION: {caution}")
    for n, row in enumerate(got["feeds"], 1):
        what = f" ({row['what']})" if "what" in row else ""
        c.print(f"\n{n}. {VERDICT[row['verdict']]} for {row['purpose']}: {row['text']}{what}")
        if row["why"]:
            c.print(f"  {row['why']}")
        for only in row["true_only_if"]:
            c.print(f"  true only if {only}")
        if row["decides"]:
            c.print(f"  decided by: {row['decides']}")
        _marks(c, "broken", row["refusals"])
        _marks(c, "note", row["notes"])
        _marks(c, "so already without the feed", row["already_so"])
        c.print(f"  fit: {_fit(row)}; about {row['minutes_min']:.0f} min")
        if row["verdict"] != "refused":
            c.print("  label:")
            for line in row["label"].splitlines():
                c.print(f"    | {line}")
        if row.get("drawing"):
            c.print(_lanes(row["drawing"]), soft_wrap=True)
