"""What is said of a case beside its suspects, for a person at 80 columns."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from amptrail.cli.fold import fold
from amptrail.jobs.base.figures import how_sure
from amptrail.sheet.said import rounded, short

Json = dict[str, Any]
MOST_RAISED, MOST_CHOICES, MOST_NAMED = 4, 5, 6
MARKS = {"shown": "[x]", "missing": "[ ]", "not so": "[!]"}
STATES = {"shown": "shown by", "not so": "NOT SO, by"}


def folded(c: Console, text: str, indent: str = "", hang: str | None = None) -> None:
    """A sentence within the width, later lines hanging."""
    for line in fold(text, indent, indent if hang is None else hang):
        c.print(line, markup=False, soft_wrap=True)


def test(c: Console, t: Json, indent: str, told: set[str]) -> None:
    """A test as a line to write, with what is good and what is not; each caution where it is first needed."""
    for caution in t["cautions"]:
        if caution not in told:
            told.add(caution)
            folded(c, f"CAUTION: {caution}", indent, indent + "  ")
    for k, line in enumerate(t["line"].split("\n")):
        c.print(f"{indent}{'test: ' if k == 0 else '      '}{line}", markup=False, soft_wrap=True)
    folded(
        c,
        f"good if {t['good']}; not so if {t['bad']} ({t['minutes_min']:.0f} min, {t['place']})",
        indent + "  ",
    )


def lines(c: Console, rows: list[Json], indent: str = "") -> None:
    """The lines of a sheet, ticked or open, with the test of each open one."""
    told: set[str] = set()
    for x in rows:
        folded(c, f"{MARKS[x['state']]} {x['words']}", indent, indent + "    ")
        if x["by"]:
            folded(c, f"{STATES[x['state']]}: {'; '.join(r['text'] for r in x['by'])}", indent + "    ")
        for t in x["tests"]:
            if t["line"] in told:
                c.print(f"{indent}    the same test as above", markup=False)
            else:
                told.add(t["line"])
                test(c, t, indent + "    ", told)
        if x["cannot"] and x["state"] != "shown":
            c.print(
                f"{indent}    no allowed test shows {'all of this' if x['tests'] else 'this'}", markup=False
            )


def condemn(c: Console, got: Json) -> None:
    """A part, module or proof sheet."""
    sure = how_sure(got["probability"])
    claim = rounded(got["claim"])
    c.print(f"{claim}: {sure}, {'PROVEN' if got['proven'] else 'NOT PROVEN'}", markup=False)
    if got["part"] is not None:
        word = "dead" if got["kind"] != "path" else "to blame"
        c.print(f"Before {got['part']} is called {word}:", markup=False)
        lines(c, got["lines"])
    if got["alternatives"]:
        c.print("\nWhat else still fits, and the reading that parts it from that:")
    for a in got["alternatives"]:
        c.print(f"  {rounded(a['text'])}", markup=False)
        if a["test"] is None:
            c.print("    no allowed reading separates them")
        else:
            t = a["test"]
            folded(
                c,
                f"{t['line']}: {t['bad']} (and {t['good']} if it is {claim})".replace("\n", ", "),
                "    ",
            )
    if got["more_alternatives"] > 0:
        c.print(f"  and {got['more_alternatives']} more, unlikely beforehand")


def assumed(c: Console, got: Json) -> None:
    """What nobody stated: the few values that decide something, or with `--all` every one."""
    shown = [r for r in got["assumed"] if got["all"] or r["matters"]]
    rest = len(got["assumed"]) - len(shown)
    if shown:
        c.print("\nNobody stated, and it decides something; state what you can read off the part:")
    for r in shown:
        value = f" {r['assumed']:g}" if isinstance(r["assumed"], (int, float)) else f" {r['assumed'] or ''}"
        unit = {"ohm": " ohm", "mm2": " mm2"}.get(r["unit"], f" {r['unit']}" if r["unit"] else "")
        names = ", ".join(r["parts"][:MOST_NAMED]) + (" …" if len(r["parts"]) > MOST_NAMED else "")
        figure = f"{value}{unit}".strip()
        folded(c, f"{r['kind']} {names}: {figure + ', ' if figure else ''}{r['words']}", "  ", "    ")
    if rest:
        more = f"{rest} more assumed value{'s' if rest != 1 else ''} that change little: check --all"
        c.print(f"{'and ' if shown else ''}{more}")


def intake(c: Console, got: Json) -> None:
    """Questions for the phone, with the line each answer adds to the readings."""
    c.print("Ask, and add the line of the answer; nothing is added for: don't know.")
    for q in got["questions"]:
        folded(c, f"\n{q['rank']}. {q['ask']}".lstrip("\n"), "", "   ")
        for a in q["answers"]:
            if a["line"] is not None:
                left = " or ".join(dict.fromkeys(short(x["text"]) for x in a["leaves"]))
                c.print(f"     {a['line']}", markup=False, soft_wrap=True)
                folded(c, f"then likeliest: {left}", "       ")
    if not got["questions"]:
        c.print("No question that could be answered without a tool would tell the suspects apart.")
    for ask in (got["exchanged"], got["worked_on"]):
        c.print()
        factor = f" (it and its neighbours x {ask['factor']:g}, {ask['source']})" if "factor" in ask else ""
        folded(c, ask["ask"] + factor)
        for x in ask["choices"][:MOST_CHOICES]:
            c.print(f"     {x['line']}", markup=False, soft_wrap=True)


def raised(c: Console, rows: list[Json]) -> None:
    """What moved the priors before the first reading; of what became less likely, nothing."""
    for r in [r for r in rows if r["factor"] > 1][:MOST_RAISED]:
        folded(c, f"beforehand: {r['words']}", "", "  ")


def history(c: Console, got: Json) -> None:
    """Every factor that closed jobs have taught."""
    n = len(got["jobs"])
    if not n:
        c.print("No closed job has a proven cause yet: amptrail job conclude, then job close.")
    else:
        c.print(f"{n} proven job{'s' if n != 1 else ''}: {', '.join(got['jobs'][-8:])}", markup=False)
    for r in got["learned"]:
        folded(c, r["words"], "  ", "    ")
    if got["left_out"]:
        folded(c, f"taken out: {', '.join(got['left_out'])} (back with: job set NAME history=yes)")
    if n:
        c.print("Left out for one question with --no-history; a job for good: job set NAME history=no")


def to_prove(c: Console, found: Json | None) -> None:
    """Under the next tests: what is missing before the part that leads may be called dead."""
    if found is None:
        return
    c.print()
    missing = f"{found['missing']} line{'s' if found['missing'] != 1 else ''} of its proof missing"
    folded(c, f"{rounded(found['claim'])} leads, with {missing}. Before {found['part']} is called dead:")
    lines(c, found["lines"], "  ")
