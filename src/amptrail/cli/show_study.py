"""The answer of `study` for a person."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from amptrail.sheet.said import short

Json = dict[str, Any]
FEW, MOST = 3, 4


def _percent(x: float) -> str:
    return f"{100 * x:.1f} %" if x < 0.9995 else "all"


def _sheet(c: Console, s: Json) -> None:
    before = ", done before" if s["from_before"] else ""
    if s["status"] == "failed":
        c.print(f"{s['sheet']}: not studied{before}")
        c.print(f"  {s['problem']}")
        return
    c.print(f"{s['sheet']}: {s['parts']} parts, {s['faults']} faults, {s['tests']} tests{before}")
    by = ", ".join(f"{k} {_percent(v)}" for k, v in s["told_apart_by"].items())
    c.print(f"  told apart, pairs of faults by how often they happen: {_percent(s['told_apart'])} ({by})")
    for f in s["functions"]:
        c.print(f"  {f['complaint']}: {f['repairs']} repairs in question,")
        c.print(f"    {f['expected_min']:.0f} min to a proven cause, 80 % within {f['p80_min']:.0f}")
    for m in s["matter"][:FEW]:
        where = m["line"].replace("{value}", "?").replace("\n", "; ")
        minutes = f"{m['minutes_min']:.1f} min"
        c.print(f"  test that matters: {where} ({m['place']}, {minutes}): {_percent(m['so_far'])}")
    for g in s["groups"][:FEW]:
        names = list(dict.fromkeys(short(x) for x in g["faults"]))
        shown = ", ".join(names[:MOST])
        more = f" and {len(names) - MOST} more" if len(names) > MOST else ""
        c.print(f"  no test tells apart ({_percent(g['probability'])} of faults): {shown}{more}")
    for a in s["additions"][:FEW]:
        c.print(f"  a {a['kind']} at {a['at']} would tell apart {_percent(a['tells_apart'])} more")


def show(c: Console, got: Json) -> None:
    """Each sheet, and where the tables are."""
    for s in got["sheets"]:
        _sheet(c, s)
    before = f", {got['from_before']} of them done before" if got["from_before"] else ""
    c.print(f"{got['done']} studied{before}, {got['failed']} not")
    if got["out"]:
        c.print(f"tables: {got['out']}")
