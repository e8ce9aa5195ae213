"""A night drain for a person: one page of the fuse box, what is awake and why, tests in order, hours left."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table

from amptrail.cli.show_case import folded
from amptrail.jobs.base.figures import at_rest, figure, how_sure, until
from amptrail.sheet.said import rounded

Json = dict[str, Any]
MOST_CASES, MOST_LEFT = 3, 3


def _box(c: Console, rows: list[Json]) -> None:
    t = Table(box=None, pad_edge=False, show_edge=False)
    columns = (("fuse", "left"), ("", "right"), ("reads", "right"), ("is", "right"), ("asleep", "right"),
               ("awake", "right"), ("", "left"), ("behind it", "left"))  # fmt: skip
    for name, side in columns:
        t.add_column(name, justify=side, overflow="fold")  # type: ignore[arg-type]
    for r in rows:
        read = r["read"]
        volts = f"{read['volts'] * 1000:.1f} mV" if read and read["volts"] is not None else ""
        band = f"{at_rest(read['amps'])} ±{(read['high_a'] - read['low_a']) * 500:.0f}" if read else ""
        behind = ", ".join(r["behind"][:4]) + (" …" if len(r["behind"]) > 4 else "")
        rating = f"{r['rating_a']:g} A" if r["rating_a"] else ""
        awake = at_rest(r["awake_a"]) if r["awake_a"] else ""
        said = {"too much": "TOO MUCH", "not read": "not read"}.get(r["verdict"], "")
        t.add_row(r["fuse"], rating, volts, band, at_rest(r["expected_a"]), awake, said, behind)
    c.print(t)


def _cases(c: Console, got: Json) -> None:
    found = [x for x in got["cases"] if x["probability"] >= 0.03 and x["awake"]][:MOST_CASES]
    for x in found:
        folded(
            c,
            f"If {rounded(x['text'])} ({how_sure(x['probability'])}): {at_rest(x['sleep_a'])} at rest",
            "",
            "  ",
        )
        for k in x["keepers"]:
            if k["by"]:
                folded(c, f"{k['module']} is kept awake by {', '.join(k['by'])}", "  ", "    ")
            else:
                for line in k["because"]:
                    folded(c, line, "  ", "      ")
    if len(found) == MOST_CASES:
        c.print("and more: amptrail suspects")


def _tests(c: Console, rows: list[Json]) -> None:
    told: set[str] = set()
    for s in rows:
        for caution in s["cautions"]:
            if caution not in told:
                told.add(caution)
                folded(c, f"CAUTION: {caution}", "  ", "    ")
        mark = "WAKES" if s["restarts"] else "wakes nothing"
        for k, line in enumerate(s["line"].split("\n")):
            c.print(f"{str(s['rank']) + '.' if k == 0 else '':4}{line}", markup=False, soft_wrap=True)
        folded(c, f"{mark}; {s['why']}", "    ")
        left = "; ".join(f"{at_rest(x['amps'])} if {rounded(x['text'])}" for x in s["left"][:MOST_LEFT])
        if left:
            folded(c, f"then, all clocks run down: {left}", "    ")


def show(c: Console, got: Json) -> None:
    """The whole page."""
    flows = f"{at_rest(got['flows_a'])} at rest ({got['flows_source']})"
    sheet = f"allowed {at_rest(got['limit_a'])}, the sheet as drawn takes {figure(got['expected_a'], 'A')}"
    folded(c, f"{flows}; {sheet}: {'TOO MUCH' if got['too_much'] else 'no more than allowed'}")
    _box(c, got["fuses"])
    if got["unexplained_a"] is not None:
        folded(c, f"clamp {at_rest(got['whole']['amps'])}, through the fuses read {at_rest(got['sum_a'])}: "
                  f"{at_rest(got['unexplained_a'])} unexplained")  # fmt: skip
    if got["unfused"]:
        folded(c, f"on no fuse at all: {', '.join(got['unfused'])}")
    c.print()
    _cases(c, got)
    if got["tests"]:
        c.print(f"\nIn this order, about {got['minutes_min']:.0f} min with its waits:")
        _tests(c, got["tests"])
    f = got["flat"]
    c.print()
    long = until((f["hours_low"], f["hours_high"]))
    battery = f"{f['battery_ah']:g} Ah, {f['battery_ah_source']}"
    charge = f"{f['volts']:.2f} V is {f['charge_share'] * 100:.0f} % charged"
    cold = f"{f['celsius']:g} C leaves {f['cold_share'] * 100:.0f} %"
    usable = f"{f['usable_share'] * 100:.0f} % of it usable"
    folded(c, f"Until it may not start: {long} ({battery}; {charge}; {cold}; {usable})")
