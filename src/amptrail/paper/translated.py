"""The facts of a job in the language that is spoken: what the program says is told, people's words stay."""

from __future__ import annotations

import re
from dataclasses import replace

from amptrail.paper.facts import CaseFacts, Check, Fitted, Found, Shown
from amptrail.paper.told import all_told, told
from amptrail.paper.words import ENGLISH, language, say
from amptrail.sheet.said import rounded, short

WARNED = re.compile(r">caution: ([^<]+)<")
SAID = re.compile(r"<(title|desc)[^>]*>.*?</\1>", re.DOTALL)


def _said(f: CaseFacts) -> CaseFacts:
    """Faults in the words of the trade, in every language: no notation, two figures of an estimate."""
    found = (replace(x, words=rounded(x.words), others=tuple(dict.fromkeys(map(short, x.others))))
             for x in f.found)  # fmt: skip
    readings = (replace(r, ruled_out=tuple(dict.fromkeys(map(short, r.ruled_out)))) for r in f.readings)
    others = tuple((rounded(words), line) for words, line in f.alternatives)
    return replace(f, found=tuple(found), readings=tuple(readings), alternatives=others)


def _found(x: Found) -> Found:
    others = all_told(x.others)
    return replace(x, words=told(x.words), size=told(x.size), repair=told(x.repair), others=others)


def _feed(x: Fitted) -> Fitted:
    why = x.why if x.asked and not x.a else told(x.why)  # the reason a person gave
    return replace(
        x, why=why, lost=all_told(x.lost), stays_on=all_told(x.stays_on), broken=all_told(x.broken),
        undo=all_told(x.undo), how_off=told(x.how_off) if x.how_off else x.how_off, wire=told(x.wire),
        true_only_if=all_told(x.true_only_if),
    )  # fmt: skip


def _check(x: Check) -> Check:
    return replace(x, words=told(x.words), by=told(x.by) if x.by and x.shown is None else x.by)


def _shown(x: Shown) -> Shown:
    checks = tuple(replace(c, words=told(c.words), by=told(c.by or "")) for c in x.checks)
    return replace(x, svg=_drawn(x.svg), caption=told(x.caption), lines=all_told(x.lines), checks=checks)


def _drawn(svg: str) -> str:
    """A picture without what is said of its parts to those who cannot see it: that is English."""
    caution = say("common.caution").lower()
    return WARNED.sub(lambda m: f">{caution}: {told(m[1])}<", SAID.sub("", svg))


def in_language(f: CaseFacts) -> CaseFacts:
    """The facts as the paper says them."""
    f = _said(f)
    if language() == ENGLISH:
        return f
    return replace(
        f,
        found=tuple(_found(x) for x in f.found),
        readings=tuple(replace(r, ruled_out=all_told(r.ruled_out)) for r in f.readings),
        neighbours=all_told(f.neighbours),
        acceptance=all_told(f.acceptance),
        feeds=tuple(_feed(x) for x in f.feeds),
        checks=tuple(_check(x) for x in f.checks),
        drawing=_drawn(f.drawing) if f.drawing else f.drawing,
        recordings=tuple(_shown(x) for x in f.recordings),
        alternatives=tuple((told(words), line) for words, line in f.alternatives),
        to_read=tuple((a, b, told(c), *more) for a, b, c, *more in f.to_read),
    )
