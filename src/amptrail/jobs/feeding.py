"""`feed`: temporary feeds judged before insulation is cut (docs/feeds.md)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from amptrail.circuit.model import Circuit, Fault, Feed, key
from amptrail.errors import nearest, one
from amptrail.feed.marks import PURPOSES, Mark, Purpose
from amptrail.feed.parts import label, minutes, part_row
from amptrail.feed.shape import kind
from amptrail.feed.verdict import Verdict, judge
from amptrail.feed.words import decides, only_if, why
from amptrail.jobs.context import Json, Sheet, answer, load
from amptrail.jobs.faultnames import named_or_text
from amptrail.jobs.feeds import find_feed
from amptrail.sheet import fault_text, parse
from amptrail.sheet.printer import feed_lines

LEAST_CHANCE, MOST_SUSPECTS = 0.01, 12


@dataclass(frozen=True, slots=True)
class FeedOptions:
    """What is asked of `feed`."""

    feeds: tuple[str, ...] = ()
    feeds_text: str | None = None
    every_feed: bool = False
    purpose: str = "leave"
    against: tuple[str, ...] = ()
    nominal: bool = False
    rules: str = "all"
    readings_text: str | None = None  # with it, the suspects still alive are looked at too


@dataclass(frozen=True, slots=True)
class Asked:
    """One feed to judge, with the words it was asked by."""

    text: str
    circuit: Circuit
    feed: Feed


def _purpose(word: str) -> Purpose:
    for p in PURPOSES:
        if p == word:
            return p
    raise one("purpose", f"no feed is for {word!r}", expected=PURPOSES, remedy="--for try, home or leave")


@lru_cache(maxsize=64)
def _with_lines(sheet_text: str, lines: str) -> Circuit:
    return parse(sheet_text.rstrip("\n") + "\n" + lines)


def _one(circuit: Circuit, text: str) -> Feed:
    """A feed by name or words; a single word that is no feed is told as such."""
    known = [f.name for f in circuit.feeds]
    if len(text.split()) == 1 and key(text.strip()) not in {key(n) for n in known}:
        raise one(
            "no-such-feed",
            f"no feed is called {text}",
            expected=tuple(known),
            nearest=nearest(text, known),
            remedy="name a feed of the sheet, or write it: from A to B fuse 5 A wire 0.5 mm2 2 m",
        )
    return find_feed(circuit, text)


def _from_file(sheet: Sheet, sheet_text: str, text: str) -> list[Asked]:
    """Feeds of a file: statements as a sheet has them (`feed J1: from …`, `J5 adds …`), or one name or one
    `from A to B …` a line."""
    lines = [(n, raw.split("#", 1)[0].strip()) for n, raw in enumerate(text.splitlines(), 1)]
    said = [(n, line) for n, line in lines if line]
    if any(key(line).startswith("feed ") for _, line in said):
        known = {key(f.name) for f in sheet.circuit.feeds}
        whole = _with_lines(sheet_text, text)
        return [Asked(f.name, whole, f) for f in whole.feeds if key(f.name) not in known]
    found = []
    for number, line in said:
        try:
            found.append(Asked(line, sheet.circuit, _one(sheet.circuit, line)))
        except Exception as e:
            problems = getattr(e, "problems", ())
            if not problems:
                raise
            p = problems[0]
            raise one(p.code, p.message, line=number, column=p.column, expected=p.expected, nearest=p.nearest,
                      remedy=p.remedy) from e  # fmt: skip
    return found


def _asked(sheet: Sheet, sheet_text: str, o: FeedOptions) -> list[Asked]:
    found = [Asked(t, sheet.circuit, _one(sheet.circuit, t)) for t in o.feeds]
    if o.feeds_text is not None:
        found += _from_file(sheet, sheet_text, o.feeds_text)
    if o.every_feed:
        found += [Asked(f.name, sheet.circuit, f) for f in sheet.circuit.feeds]
    if not found:
        raise one("no-feed", "there is no feed to judge",
                  expected=("--feed TEXT", "--feeds FILE", "--every-feed"),
                  remedy='say which: --feed "from F3.out to K4.86 fuse 5 A wire 0.5 mm2 2 m"')  # fmt: skip
    return found


def mark_json(m: Mark) -> Json:
    """A broken rule as the contract shows it."""
    return {"rule": m.rule, "start": m.start, "phase": m.phase, "part": m.part, "figure": m.figure + 0.0,
            "limit": m.limit, "unit": m.unit, **dict(m.more)}  # fmt: skip


def _row(a: Asked, v: Verdict, nominal: bool) -> Json:
    f = v.fitted
    because = fault_text(a.circuit, f.against) if f.against else ""
    return {
        "text": a.text,
        "name": a.feed.name,
        "said": a.feed.text,
        "purpose": v.purpose,
        "against": because or None,
        "true_only_if": only_if(v),
        "decides": decides(v),
        "would_break": [mark_json(m) for m in v.doubtful],
        "long_text": list(feed_lines(a.circuit, a.feed)),
        "kind": kind(f),
        "verdict": v.verdict,
        "rule": v.rule,
        "why": why(v),
        "refusals": [mark_json(m) for m in v.broken],
        "notes": [mark_json(m) for m in v.notes],
        "already_so": [mark_json(m) for m in v.already_so],
        "flags": v.flags,
        "worst_case": {}
        if nominal
        else {r: {**mark_json(m), "margin": m.margin} for r, m in v.worst.items()},
        "margins": {r: {**mark_json(m), "margin": m.margin} for r, m in v.margins.items()},
        "parts": [part_row(p) for p in a.feed.parts],
        "minutes_min": minutes(f),
        "label": label(f, v.purpose, because),
        "proof_sha256": None,
    }


@dataclass(frozen=True, slots=True)
class Alive:
    """A suspect the readings leave alive: its words, its chance, its faults at their likeliest severity."""

    text: str
    probability: float
    faults: tuple[Fault, ...]


def _alive(sheet_text: str, readings_text: str) -> list[Alive]:
    """Suspects of at least 1 % (NUMERICS, Worst case), likeliest first."""
    from amptrail.jobs.suspects import SuspectOptions, suspects

    circuit = load(sheet_text).circuit
    found = []
    for s in suspects(sheet_text, readings_text, SuspectOptions(top=MOST_SUSPECTS))["suspects"]:
        if s["probability"] < LEAST_CHANCE:
            continue
        text = " and ".join(f["text"] for f in s["faults"])
        ohm = s["severity"]["ohm"] if s["severity"] else None
        faults = tuple(
            replace(x, ohm=ohm) if x.ohm is None and ohm else x for x in named_or_text(circuit, text)
        )
        found.append(Alive(text, s["probability"], faults))
    return found


def _excluding(sheet_text: str, readings_text: str) -> str | None:
    """The next test worth its minutes: it splits what is still alive."""
    from amptrail.jobs.nexttest import NextOptions, next_tests

    visits = next_tests(sheet_text, readings_text, NextOptions())["visits"]
    if not visits:
        return None
    t = visits[0]["tests"][0]
    what = f"{t['instrument']} at {t['point']}" if t["instrument"] else f"{t['action']} {t['point']}"
    return f"{what} in {t['phase']}"


def _doubted(row: Json, a: Asked, v: Verdict, alive: Sequence[Alive], sheet_text: str, readings: str) -> Json:
    """A feed that holds, but would be refused were another suspect the truth, is undecided."""
    if v.verdict != "holds":
        return row
    for s in alive:
        other = judge(a.circuit, a.feed, v.purpose, s.faults, nominal=True)
        if other.verdict != "refused":
            continue
        test = _excluding(sheet_text, readings)
        broken = [{**mark_json(m), "suspect": s.text} for m in other.broken]
        text = f"Undecided: it would not do if {s.text} is what is wrong ({s.probability:.0%}): "
        return {
            **row,
            "verdict": "undecided",
            "rule": other.rule,
            "why": text + why(other),
            "decides": test or f"find out whether it is {s.text}",
            "would_break": broken,
            "true_only_if": [*row["true_only_if"], f"{s.text} is not the fault"],
        }
    return row


def feed(sheet_text: str, options: FeedOptions) -> Json:
    """Judge feeds (docs/json.md, feed). Exit status 1 when none of them holds."""
    purpose = _purpose(options.purpose)
    if options.rules not in ("all", "oracle"):
        raise one("rules", f"no set of rules is called {options.rules!r}", expected=("all", "oracle"))
    sheet = load(sheet_text)
    against: tuple[Fault, ...] = tuple(x for t in options.against for x in named_or_text(sheet.circuit, t))
    asked = _asked(sheet, sheet_text, options)
    oracle = options.rules == "oracle"
    alive: list[Alive] = []
    if options.readings_text is not None and not options.nominal:
        alive = _alive(sheet_text, options.readings_text)
        if not against and alive:
            against = alive[0].faults
    told: list[Any] = []
    for a in asked:
        v = judge(a.circuit, a.feed, purpose, against, oracle=oracle, nominal=options.nominal)
        row = _row(a, v, options.nominal)
        if alive:
            row = _doubted(row, a, v, alive, sheet_text, options.readings_text or "")
        told.append(row)
    holds = any(r["verdict"] == "holds" for r in told)
    return answer("feed", sheet, {"feeds": told}, exit_status=0 if holds else 1)


__all__: Sequence[str] = ("FeedOptions", "feed")
