"""How a job stands, and what was just told to it, in lines for a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from amptrail.errors import InputError
from amptrail.jobs.base.context import load
from amptrail.jobs.log.minutes import spent
from amptrail.store import Entry, JobState, Log, rebuild

WIDTH = 79
LISTED = 30  # the latest jobs; the others are found by their words


def told(kind: str, entry_id: str, data: Mapping[str, Any]) -> str:
    """One line for one thing that was told."""
    return _cut(f"{entry_id}: {_said(kind, data)}")


def _said(kind: str, d: Mapping[str, Any]) -> str:
    text = str(d.get("text", ""))
    match kind:
        case "time":
            return f"{d['what']} {'+' if d.get('more') else ''}{d['minutes']:g} min"
        case "state":
            return "; ".join(f"{k}={_fact(v)}" for k, v in d.items() if not isinstance(v, dict))
        case "part":
            price = "" if d.get("price") is None else f", {d['price']:.2f} each"
            return f"{d.get('count') or 1:g} x {text}{price}"
        case "conclusion":
            return "; ".join(x for x in (text, f"cause: {d['cause']}" if d.get("cause") else "") if x)
        case "repair":
            return text if d.get("minutes") is None else f"{text}, {d['minutes']:g} min"
    return text


def _fact(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _cut(line: str) -> str:
    return line if len(line) <= WIDTH else line[: WIDTH - 1] + "…"


def _long(name: str, value: object) -> list[str]:
    """A line with its name, broken within the width."""
    return wrap(f"{name}: {value}", WIDTH, subsequent_indent="  ") or [f"{name}:"]


def feed_fitted(entry: Entry) -> str:
    """A feed that was just kept: what it is, what it breaks where it was not proved, what can hurt."""
    d = entry.data
    lines = [f"{entry.id}: {d['name']}, {d['verdict']}", *str(d["words"]).split("\n")]
    if d["verdict"] != "holds":
        lines += _long("NOT PROVED", "; ".join(d["broken"]) or d["why"])
    return "\n".join([*lines, *(x for c in d["cautions"] for x in _long("CAUTION", c))])


def asked_and_told(entry: Entry) -> str:
    """What was asked for, and the answer to it."""
    d = entry.data
    who = f" asked by {d['asked_by']}" if d.get("asked_by") else " asked for"
    return "\n".join([f"{entry.id}:{who}: {d['text']}", *_long(str(d["verdict"]), d["why"])])


def standing(name: str, s: JobState, entries: Sequence[Entry]) -> str:
    """The whole job."""
    by = {e.id: e.by for e in entries}
    lines = [f"job {name}, {len(entries)} entries", *_long("complaint", s.complaint or "not said")]
    lines.append("sheet: " + ("kept in the job" if s.sheet else "none yet"))
    facts = _said("state", s.facts)
    lines += _long("set", facts) if facts else []
    for i, line in s.readings:
        lines.append(f"  {i:14} {line}{f'  ({by[i]})' if by.get(i) else ''}")
    lines += [] if s.readings else ["  no readings yet"]
    for title, rows in (("note", s.notes), ("proven", (s.conclusion,)), ("cause", (s.cause,))):
        lines += [x for r in rows if r for x in _long(title, r)]
    for f in s.feeds:
        how = "fitted" if f.get("fitted") else "asked for" if f.get("asked") else "taken out again"
        lines += _long(how, f"{f.get('name', '')}, {f.get('text', '')} ({f.get('verdict', '')})".lstrip(", "))
    lines += [x for r in s.repairs for x in _long("done", _said("repair", r))]
    lines += [x for r in s.left for x in _long("left undone", r)]
    lines += [x for r in s.parts for x in _long("part", _said("part", r))]
    lines += [
        x
        for r in s.recordings
        for x in _long("recording", str(r.get("caption", "")).removeprefix("Recording "))
    ]
    lines += [x for f in s.files for x in _long("file", f"{f['id']} {f.get('name', '')} {f.get('text', '')}")]
    lines += _time(s, entries)
    lines += ["closed"] if s.closed else []
    return "\n".join(lines)


def _time(s: JobState, entries: Sequence[Entry]) -> list[str]:
    """Minutes as the invoice counts them: from the log, or as told."""
    try:
        circuit = load(s.sheet).circuit if s.sheet else None
    except InputError:  # a sheet of an earlier program that this one reads no more
        circuit = None
    out = []
    for x in spent(entries, circuit):
        where = ", ".join(f"{p} {m:.0f}" for p, m in x.places)
        how = "told" if x.by_hand else f"from the log{': ' + where if where else ''}"
        out += _long("time", f"{x.what} {x.minutes:g} min ({how})")
    return out


def listing(log: Log) -> str:
    """The latest jobs, the last one first: name, day, what was complained of, whether it is closed."""
    names = log.jobs()
    if not names:
        return "no jobs yet"
    lines = []
    wide = min(max(len(n) for n in names[-LISTED:]), 24)
    for name in reversed(names[-LISTED:]):
        entries = log.entries(name)
        s = rebuild(entries)
        state = "closed" if s.closed else "open"
        said = s.complaint or s.conclusion or ""
        lines.append(_cut(f"{name:<{wide}}  {entries[0].at[:10]}  {state:<6}  {said}".rstrip()))
    if len(names) > LISTED:
        lines.append(f"and {len(names) - LISTED} earlier: amptrail job search WORDS")
    return "\n".join(lines)
