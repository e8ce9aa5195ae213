"""Answers as tables for a person, at 80 columns, nothing told by colour alone."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

from rich.console import Console
from rich.table import Table

from amptrail.cli import show_case, show_drain, show_drawings, show_feed, show_study
from amptrail.cli.fold import folded
from amptrail.jobs.base.figures import WAIT, how_sure, left_by, ohms, repair_min, spans
from amptrail.jobs.base.figures import figure as _figure
from amptrail.sheet.said import called, rounded, short

Json = dict[str, Any]
VISITS, CARDS = 3, 3  # what a person reads at the vehicle; --json has them all
MOST_PROBLEMS = 20  # a screen that scrolls by is not read
LAMP_V = 12.0  # a test lamp as `next` thinks of it
MOST_NAMED = 3  # of what reads alike, and of what a reading ruled out
SENSES = ("eye", "ear", "nose", "hand", "ask")


class Screen(Console):
    """A console on which a line that is too long goes on below, a little further in."""

    def print(self, *objects: Any, **how: Any) -> None:
        """As the console prints; text is folded unless it must stay as it is (`soft_wrap`)."""
        if len(objects) == 1 and isinstance(objects[0], str) and not how.get("soft_wrap"):
            objects, how = (folded(objects[0]),), {**how, "soft_wrap": True}
        super().print(*objects, **how)


def screen() -> Screen:
    """Where an answer is shown: what a sheet says is never markup."""
    return Screen(highlight=False, markup=False)


def problems(got: Json) -> str:
    """The problems of an answer as text."""
    from amptrail.errors import Problem

    rows = [
        Problem(
            p["code"],
            p["message"],
            p["line"],
            p["column"],
            p["severity"],
            tuple(p["expected"]),
            p["nearest"],
            p["remedy"],
        ).text()
        for p in got["problems"]
    ]
    more = len(rows) - MOST_PROBLEMS
    if more > 0:
        rows = [*rows[:MOST_PROBLEMS], f"and {more} more; mend these first, or see all with --json"]
    return folded("\n".join(rows)) + ("\n" if rows else "")


def _grid(*columns: tuple[str, str]) -> Table:
    table = Table(box=None, pad_edge=False, show_edge=False)
    for name, side in columns:
        table.add_column(name, justify=side, overflow="fold")  # type: ignore[arg-type]
    return table


def _rated(got: Json) -> float:
    """The volts at which the lamp in hand burns as it should."""
    words = got.get("own_instruments", {}).get("lamp")
    if words is None:
        return LAMP_V
    from amptrail.instruments import by_name

    return by_name(f"lamp {words}").tap_parameters[0]


def _seen(r: Json, rated: float) -> str:
    """What a reading looks like on its instrument: figures, and for a lamp how bright it is."""
    told = " / ".join(_figure(x, r["unit"]) for x in r["alternates"] or [r["value"]])
    if r["instrument"] == "lamp" and r["value"] is not None and not r["alternates"]:
        from amptrail.belief.senses import brightness

        chance = brightness(r["value"], rated)
        return f"{told} {max(chance, key=lambda w: float(chance[w]))}"
    return told


def _own(c: Console, got: Json) -> None:
    """Whose instruments the figures are for, where they are not the usual ones."""
    for kind, words in got.get("own_instruments", {}).items():
        c.print(f"for your own {kind}: {words}", soft_wrap=True)


def _expect(c: Console, got: Json) -> None:
    _own(c, got)
    rated = _rated(got)
    for run in got["runs"]:
        c.print(f"{run['fault'] or 'healthy'}" + (f", with {run['feed']}" if run["feed"] else ""))
        for phase in run["phases"]:
            state = phase["state"] or {}
            on = [
                *state.get("relays_energised", []),
                *state.get("modules_awake", []),
                *state.get("drivers_on", []),
            ]
            blown = state.get("fuses_open", [])
            note = (
                ""
                if phase["status"] == "settled"
                else f"  ({phase['status']}: {', '.join(phase['chatter'])})"
            )
            if phase.get("unreachable"):
                note += f"  (cannot be reached: {phase['unreachable_why']})"
            c.print(
                f"\n{phase['phase']}{note}   on: {', '.join(on) or 'nothing'}"
                + (f"   BLOWN: {', '.join(blown)}" if blown else "")
            )
            t = _grid(
                ("point", "left"),
                ("with", "left"),
                ("reads", "right"),
                ("between", "left"),
                ("note", "left"),
            )
            for r in phase["readings"]:
                low, high = r["low"], r["high"]
                band = (
                    ""
                    if low is None or low == high
                    else f"{_figure(low, r['unit'])} … {_figure(high, r['unit'])}"
                )
                note = ", ".join(
                    [*(f for f in r["flags"] if f != "disturbs"), *(f"switches {d}" for d in r["disturbs"])]
                )
                t.add_row(called(r["point"]), r["instrument"], _seen(r, rated), band, note)
            c.print(t)


def _span(severity: Json | None) -> str:
    return f"{ohms(severity['low'])} … {ohms(severity['high'])}" if severity else ""


def _suspects(c: Console, got: Json) -> None:
    if not got["one_cause"]["explains"]:
        c.print(got["one_cause"]["words"])
    elif got["unexplained"]["is"]:
        c.print(
            f"Nothing in this drawing explains what was read. Worst: line {got['unexplained']['worst_line']}."
        )
        c.print("The vehicle may not be as drawn, or a reading is not what it seems.")
    t = _grid(("still fits", "left"), ("how sure", "left"), ("between", "left"), ("repair", "left"))
    told = [s for s in got["suspects"] if s["probability"] >= 0.005 or s["rank"] <= 3]
    for s in told:
        both = [s["words"].replace(" blown or missing", way) for way in (" open", " missing")]
        others = [short(x) for x in s["equivalent"] if x not in both]
        named = ", ".join(others[:MOST_NAMED])
        alike = f"\n  or: {named}{' …' if len(others) > MOST_NAMED else ''}" if named else ""
        t.add_row(
            rounded(s["words"]) + alike,
            how_sure(s["probability"]),
            _span(s["severity"]),
            f"{s['repair']} ({repair_min(s['repair_minutes']):.0f} min)",
        )
    c.print(t)
    show_drawings.shares(c, got["drawings"])
    for s in told:
        if s["drawn"]:
            c.print(f"{rounded(s['words'])}: {s['drawn']}", markup=False)
    for row in got["ruled_out_by"]:
        if row["count"]:
            gone = list(dict.fromkeys(short(x) for x in row["ruled_out"]))[:MOST_NAMED]
            rest = row["count"] - sum(short(x) in gone for x in row["ruled_out"])
            out = "; ".join(gone) + (f" and {rest} more" if rest > 0 else "")
            c.print(f"line {row['line']} ({row['text']}) ruled out: {out}")
    doubt = got["doubtful_reading"]
    if doubt:
        left = "; ".join(short(x["text"]) for x in doubt["if_dropped"])
        show_case.folded(c, f"Line {doubt['line']} may not be what it says; without it: {left}", "", "  ")
    show_case.raised(c, got["raised"])
    for x in got["readings_ignored"]:
        c.print(f"line {x['line']} was not used: {x['reason']}")


def _lead(t: Json) -> str:
    """Where the other lead goes; a clamp and the senses have none."""
    if t["instrument"] == "clamp":
        return ", around the wire, arrow with the current"
    if t["instrument"] in SENSES:
        return ""
    return f", other lead on {t['to'] or 'battery minus'}"


def _outcomes(t: Json) -> list[str]:
    """One line for each different conclusion: what may be seen, and what it leaves."""
    seen: dict[frozenset[str], list[Json]] = {}
    left: dict[frozenset[str], str] = {}
    for o in t["outcomes"]:
        if o["probability"] > 0.02:
            names = list(dict.fromkeys(short(x) for x in left_by(o)))
            left.setdefault(frozenset(names), " or ".join(names) or "nothing in this drawing")
            seen.setdefault(frozenset(names), []).append(o)
    told: dict[str, list[str]] = {}  # what looks the same leaves what each of its outcomes leaves
    for which, found in seen.items():
        told.setdefault(" or ".join(spans(found)[:3]), []).append(left[which])
    return [f"{look} → {' or '.join(_each(x))}" for look, x in told.items()]


def _each(told: list[str]) -> list[str]:
    """Each name once."""
    return list(dict.fromkeys(name for x in told for name in x.split(" or ")))


def _card(c: Console, t: Json) -> None:
    out = f" with {', '.join(t['with'])}" if t["with"] else ""
    if t["watch"]:
        show_case.folded(c, f"move {t['point']} by hand and watch {called(t['watch'])}", "  ", "    ")
    elif t["action"] == "ask":
        show_case.folded(c, f"ask: does {t['point']} work{out}?", "  ", "    ")
    else:
        show_case.folded(c, f"{t['instrument']} at {called(t['point'])}{out}{_lead(t)}", "  ", "    ")
    for line in _outcomes(t):
        show_case.folded(c, line, "    ", "      ")
    if t.get("twin"):
        show_case.folded(c, t["twin"]["words"], "    ")
    for k, line in enumerate(t["line"].split("\n")):
        c.print(f"    {'then write: ' if k == 0 else '            '}{line}", soft_wrap=True)


def _visit(c: Console, v: Json, cards: int) -> None:
    """A place with its tests; each caution once, before the first test. A test that will almost surely end
    one way is left out: it would not tell two suspects apart."""
    worth = [t for t in v["tests"] if t["action"] == "ask" or len(_outcomes(t)) > 1]
    if not worth:
        return
    c.print(f"\n{v['rank']}. {v['place']}, {v['phase']}: about {v['minutes_min']:.0f} min")
    tests = worth[:cards]
    for caution in dict.fromkeys(x for t in tests for x in t["cautions"]):
        show_case.folded(c, f"CAUTION: {caution}", "  ", "    ")
    if any(t["while"] for t in tests):
        show_case.folded(c, f"{WAIT}.", "  ", "    ")
    for t in tests:
        _card(c, t)


def _next(c: Console, got: Json) -> None:
    _own(c, got)
    if got["stop"]["is"]:
        cost = f"being wrong would cost about {got['stop']['wrong_cost_min']:.0f} min"
        show_case.folded(c, f"Stop testing: {got['stop']['reason']} ({cost})", "", "  ")
        if got["visits"]:
            c.print("\nOr, to be surer before the repair:")
    for v in got["visits"][: 1 if got["stop"]["is"] else VISITS]:
        _visit(c, v, CARDS if v["rank"] == 1 else 1)
    if got["visits"] and not got["stop"]["is"]:
        c.print(
            f"\nTo a proven cause: about {got['expected_min']:.0f} min, "
            f"8 times of 10 within {got['p80_min']:.0f} min."
        )
    if got["tells_drawings"]:
        show_drawings.apart(c, got["drawings"], got["tells_drawings"], _lead(got["tells_drawings"]))
    show_case.to_prove(c, got.get("to_prove"))


def _check(c: Console, got: Json) -> None:
    text = problems(got)
    if text:
        c.print(text, markup=False)
    n = got["counts"]
    c.print(
        ", ".join(f"{n[k]} {k if n[k] != 1 else k[:-1]}" for k in ("parts", "points", "phases", "faults"))
        + " considered."
        + (" The sheet is sound." if got["exit"] == 0 else " Mend the errors first.")
    )
    show_case.assumed(c, got)


def _trail(c: Console, got: Json) -> None:
    c.print(f"{got['point']} in {got['phase']}: {_figure(got['volts'], 'V')}")
    for t in got["trails"]:
        c.print(
            f"  {_figure(t['amps'], 'A'):>10}  {' → '.join(p for p in t['parts'] if '>' not in p)}"
        )  # a run has no name
    if not got["trails"]:
        c.print("  no current passes here")


def _size(c: Console, got: Json) -> None:
    c.print(
        f"wire {got['area_mm2']} mm2 (AWG {got['awg']}), fuse {got['fuse_a']:g} A, "
        f"drop {_figure(got['drop_v'], 'V')}, {got['temperature_c']:.0f} C"
    )
    for s in got["sources"]:
        c.print(f"  {s['what']}: {s['where']} ({s['status']})", markup=False)


def _recording(c: Console, got: Json) -> None:
    from amptrail.recording.words import WORDS, figure

    for w in got["cautions"]:
        c.print(f"CAUTION: {w}", markup=False)
    table = _grid(
        ("channel", "left"),
        ("from", "right"),
        ("to", "right"),
        ("lowest", "right"),
        ("highest", "right"),
        ("mean", "right"),
    )
    for ch in got["channels"]:
        m = got["measures"][ch["name"]]
        figures = [
            _figure(m[k], ch["unit"]) if ch["unit"] in ("V", "A") else f"{m[k]:.4g}"
            for k in ("low", "high", "mean")
        ]
        name = ch["name"] if not ch["point"] else f"{ch['name']} = {ch['point']}"
        table.add_row(name, f"{m['begin_s']:.3f} s", f"{m['end_s']:.3f} s", *figures)
    c.print(table)
    for name, m in got["measures"].items():
        if m["ripple_hz"] is not None:
            c.print(
                f"{name}: ripple {m['ripple_hz']:.0f} Hz, {m['ripple_v']:.2f} V peak to peak", markup=False
            )
    c.print(got["text"], markup=False, end="", soft_wrap=True)
    if not got["events"]:
        c.print("nothing happened that can be told")
        return
    table = _grid(("at", "right"), ("", "left"), ("channel", "left"), ("", "left"), ("sure to", "right"))
    units = {ch["name"]: ch["unit"] for ch in got["channels"]}
    for e in got["events"]:
        wide = (e["t_high_s"] - e["t_low_s"]) / 2 * 1000
        table.add_row(
            f"{e['t_s']:.4f} s",
            WORDS[e["kind"]],
            e["channel"],
            figure(e["kind"], e["value"], units[e["channel"]]),
            f"{wide:.1f} ms",
        )
    c.print(table)
    for d in got["relays"]:
        words = "pulled in" if d["kind"] == "pull_in" else "let go"
        more = f"; {d['suppression']} ({d['spike_v']:.0f} V above)" if d["suppression"] else ""
        c.print(f"{d['part']} {words} {d['delay_ms']:.1f} ms after its winding{more}", markup=False)
    if got["comparison"]:
        c.print("before and after:")
    for d in got["comparison"]:
        mark = {True: "[!]", False: "   ", None: "[ ]"}[d["changed"]]
        c.print(f"  {mark} {d['words']}", markup=False)
    _beside(c, got)


def _beside(c: Console, got: Json) -> None:
    """Where recording and sheet part company, what is shown and what is not, and lines for the readings
    file."""
    apart = [b for b in got["against"] if not b["agrees"]]
    if got["against"]:
        c.print(f"beside the sheet: {len(got['against']) - len(apart)} of {len(got['against'])} levels agree")
    for b in apart:
        c.print(f"  {b['words']}", markup=False)
    for t in got["verification"]:
        mark = {True: "[x]", False: "[!]", None: "[ ]"}[t["shown"]]
        c.print(f"  {mark} {t['words']}: {t['by']}", markup=False)
    if got["readings"]:
        c.print("as readings:")
    for line in got["readings"]:
        c.print(f"  {line}", markup=False)


def _draw(c: Console, got: Json) -> None:
    if got["out"] is None:
        sys.stdout.write(got["svg"])  # as it is: a console would break its lines
        return
    m = got["metrics"]
    c.print(f"{got['out']}: {m['parts']} parts, {m['width_px']} x {m['height_px']} px")


def _text(c: Console, got: Json) -> None:
    c.print(got["text"], markup=False, end="", soft_wrap=True)  # a sheet or a page is kept as it is written


def _job(c: Console, got: Json) -> None:
    c.print(got.get("text", ""), markup=False)


def _prove(c: Console, got: Json) -> None:
    c.print("VALID" if got["valid"] else "NOT VALID", style="bold")
    if got["step"]:
        c.print(f"at: {got['step']}", markup=False)
    c.print(got["reason"], markup=False)


SHOW: dict[str, Callable[[Console, Json], None]] = {
    "check": _check,
    "expect": _expect,
    "suspects": _suspects,
    "next": _next,
    "condemn": show_case.condemn,
    "drain": show_drain.show,
    "history": show_case.history,
    "intake": show_case.intake,
    "cycle": _text,
    "trail": _trail,
    "feed": show_feed.show,
    "prove": _prove,
    "size": _size,
    "draw": _draw,
    "findings": _text,
    "convert": _text,
    "job": _job,
    "practice": _text,
    **dict.fromkeys(("slip", "label", "notice", "quote", "invoice", "paper"), _text),
    "recording": _recording,
    "study": show_study.show,
}


def show(got: Json) -> None:
    """Print an answer for a person."""
    c = screen()
    warned = [p for p in got["problems"] if p["severity"] != "error"] if got["command"] != "check" else []
    for p in warned:
        place = f"line {p['line']}: " if p["line"] else ""
        c.print(f"note: {place}{p['message']}", markup=False)
        if p["remedy"]:
            c.print(f"  do this: {p['remedy']}", markup=False)
    SHOW[got["command"]](c, got)
