"""A timeline drawn with characters, 80 columns: phases on top, a lane each, events and the end below."""

from __future__ import annotations

import textwrap

from amptrail.cycle.axis import Axis, axis, clock
from amptrail.cycle.functions import functions
from amptrail.cycle.lanes import Lanes, lanes
from amptrail.cycle.timeline import Cause, Timeline

COLUMNS = 80
LABEL = 18
MARK = ("·", "█", "▒")  # off, on, buzzes
EVENTS = 40


def _label(name: str, width: int) -> str:
    return name if len(name) <= width else name[: width - 1] + "…"


def _header(drawn: Lanes, x: Axis, label: int) -> list[str]:
    """Numbers of the phases over their stretch, a bar at each edge."""
    row = [" "] * (x.width + 1)
    for n, band in enumerate(drawn.bands, 1):
        begin, end = x.cell(band.begin_s), x.cell(band.end_s)
        row[begin] = "|"
        text = band.phase if len(band.phase) < end - begin else str(n)
        for k, ch in enumerate(text[: max(end - begin - 1, 0)]):
            row[begin + 1 + k] = ch
    row[x.width] = "|"
    return [" " * (label + 1) + "".join(row).rstrip()]


def _row(drawn: Lanes, x: Axis, number: int, label: int) -> str:
    lane = drawn.lanes[number]
    row = ["·"] * x.width
    for k in range(len(x.edges) - 1):
        value = lane.at(x.edges[k])
        for c in range(x.at[k], x.at[k + 1]):
            row[c] = MARK[value]
    mark = {"relay": "relay ", "module": "", "fuse": "fuse open "}.get(lane.kind, "")
    return f"{_label(mark + lane.name, label):<{label}} {''.join(row)}"


def _phases(drawn: Lanes) -> list[str]:
    out = []
    for n, b in enumerate(drawn.bands, 1):
        note = "  (before the change)" if b.before else ""
        out.append(f"{n:>3} {_label(b.phase, 24):<24} {clock(b.begin_s)} to {clock(b.end_s)}{note}")
    return out


def _events(timeline: Timeline) -> list[str]:
    told = [i for i in timeline.instants if i.changes]
    lines = []
    for i in told[:EVENTS]:
        words = ", ".join(map(str, i.changes))
        if i.status == "chatter":
            words += f"; then {', '.join(i.chattering)} switch for ever"
        elif i.every_s:
            words += f"; again every {clock(i.every_s)}"
        head = f"{clock(i.t_s):>14}  "
        lines += textwrap.wrap(words, COLUMNS, initial_indent=head, subsequent_indent=" " * len(head))
    if len(told) > EVENTS:
        lines.append(f"{'':>14}  and {len(told) - EVENTS} more moments (all with --json)")
    return lines


def ending(timeline: Timeline) -> list[str]:
    """How it ended, in sentences, and why what is awake is awake."""
    t = timeline
    said = {
        "settled": "Comes to rest.", "chatter": "Never comes to rest: it chatters.",
        "horizon": "Not at rest at the end: something still runs its time.",
    }[t.reason]  # fmt: skip
    still = "Everything sleeps" if t.asleep and not t.why else "No module is awake"
    said += f" Awake at the end: {', '.join(t.awake)}" if t.awake else f" {still}"
    said += f"; it draws {_amps(t.sleep_a)}" if t.sleep_a is not None else ""
    limit = t.draw_limit_a
    if limit is not None and t.sleep_a is not None and t.sleep_a > limit:
        said += f", more than the {_amps(limit)} allowed"
    said += "."
    out = textwrap.wrap(said, COLUMNS)
    told: set[str] = set()
    for c in t.why:
        out += _because(c, 1, told)
    fails = tuple(h.words() for h in functions(t) if not h.holds)
    for words, items in (
        ("Does not hold:", fails),
        ("Holds itself on (off until it was used once):", t.self_holding),
        ("Loop:", t.loops),
        ("Fuse open:", t.fuses_open),
        ("The order of switching decides in:", t.races),
    ):
        for item in items:
            out += textwrap.wrap(f"{words} {item}", COLUMNS, subsequent_indent="  ")
    return out


def _because(c: Cause, depth: int, told: set[str]) -> list[str]:
    """A cause and what it rests on, each item explained once."""
    again = c.item in told and not c.loop
    words = f"{c.item}, as above" if again else f"{c.item}: {c.because}"
    words += " (a loop: it holds itself)" if c.loop else ""
    indent = "  " * depth
    out = textwrap.wrap(words, COLUMNS, initial_indent=indent, subsequent_indent=indent + "    ")
    told.add(c.item)
    return out if again else out + [x for by in c.by for x in _because(by, depth + 1, told)]


def _amps(a: float) -> str:
    if abs(a) < 1e-5:
        return "next to nothing"
    return f"{a * 1000:.3g} mA" if abs(a) < 1 else f"{a:.3g} A"


def drawing(timeline: Timeline) -> str:
    """The whole drawing as text, no line longer than 80 columns."""
    drawn = lanes(timeline)
    label = min(LABEL, max((len(x.name) + 6 for x in drawn.lanes), default=8))
    room = COLUMNS - label - 2
    x = axis(drawn, room, room)
    rows = [*_header(drawn, x, label), *(_row(drawn, x, n, label) for n in range(len(drawn.lanes)))]
    key_ = f"{MARK[1]} on  {MARK[0]} off  {MARK[2]} switches for ever; the scale of time is compressed"
    parts = [[*rows, key_], _phases(drawn), _events(timeline), ending(timeline)]
    lines = [line for part in parts if part for line in (*part, "")][:-1]
    return "\n".join(lines) + "\n"
