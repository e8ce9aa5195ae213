"""Suspects still alive that would spoil a feed: it is then undecided, and a test that excludes them named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from amptrail.circuit.model import Circuit, Fault, Feed
from amptrail.feed.marks import Mark
from amptrail.feed.verdict import Verdict
from amptrail.feed.verdict import judge as judge_feed
from amptrail.feed.words import sentence, why
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.faultnames import named_or_text
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.feeding.feedsearch import mark_json
from amptrail.jobs.judging.desk import NextOptions
from amptrail.jobs.judging.nexttest import next_answer
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer

LEAST_CHANCE = 0.01  # NUMERICS, Worst case: suspects of at least 1 %, of which there are at most MOST
MOST = round(1 / LEAST_CHANCE)
EXCLUDES = 0.5  # an outcome that leaves less than this share of a suspect's probability speaks against it
DEAD = ("restores_from_asleep", "dead_lock", "works_fitted_awake")


@dataclass(frozen=True, slots=True)
class Suspect:
    """Its words, its chance, its faults at their likeliest severity."""

    text: str
    probability: float
    faults: tuple[Fault, ...]


@dataclass(frozen=True, eq=False)
class Alive:
    """What the readings leave, the likeliest first."""

    judgement: Judgement
    suspects: tuple[Suspect, ...]

    @property
    def likeliest(self) -> tuple[Fault, ...]:
        """The faults of the first suspect; empty when the readings leave none."""
        return self.suspects[0].faults if self.suspects else ()


def alive(circuit: Circuit, readings_text: str) -> Alive:
    """Suspects the readings leave alive."""
    j = judge(circuit, readings_text)
    j = j.each[0] if j.each else j  # the feed is laid over the sheet as it is drawn
    found = []
    for s in suspects_answer(j, {}, SuspectOptions(top=MOST))["suspects"]:
        if s["probability"] < LEAST_CHANCE or not s["faults"]:
            continue
        ohm = s["severity"]["ohm"] if s["severity"] else None
        faults = tuple(
            replace(x, ohm=ohm) if x.ohm is None and ohm else x
            for x in named_or_text(circuit, " and ".join(f["text"] for f in s["faults"]))
        )
        found.append(Suspect(s["text"], float(s["probability"]), faults))
    return Alive(j, tuple(found))


def _reason(v: Verdict) -> Mark:
    """The rule that says most: that it does not work comes before what else is wrong."""
    return next((m for m in v.broken if m.rule in DEAD), v.broken[0])


def _test(a: Alive, s: Suspect, tests: Sequence[Json]) -> str:
    """The first test with an outcome that speaks against a suspect, not against the likeliest other."""
    first = next((x for x in a.suspects if x is not s), s)
    fallback = ""
    for t in tests:
        for o in t["outcomes"]:
            left = {x["text"]: x["probability"] for x in o["leaves"]}
            if not left or left.get(s.text, 0.0) >= EXCLUDES * s.probability:
                continue
            said = f"{t['line'].replace('{value}', str(o['words']))} excludes {s.text}"
            if left.get(first.text, 0.0) >= first.probability:
                return said
            fallback = fallback or said
    return fallback or f"find out whether it is {s.text}: no test at hand tells"


def doubted(circuit: Circuit, feed: Feed, v: Verdict, a: Alive, row: Json) -> Json:
    """A row that holds, made undecided where a suspect still alive would refuse it: `decides` names the test
    that excludes it, `would_break` what it would break."""
    if v.verdict != "holds":
        return row
    for s in a.suspects:
        if s.faults == v.fitted.against:
            continue
        other = judge_feed(circuit, feed, v.purpose, s.faults, nominal=True)
        if other.verdict != "refused":
            continue
        tests = [t for visit in next_answer(a.judgement, NextOptions())["visits"] for t in visit["tests"]]
        m = _reason(other)
        reason = why(other) if m is other.broken[0] else f"{sentence(other, m)}."
        return {
            **row,
            "verdict": "undecided",
            "rule": other.rule,
            "why": f"Undecided: it would not do if {s.text} is what is wrong ({s.probability:.0%}): {reason}",
            "decides": _test(a, s, tests),
            "would_break": [{**mark_json(x), "suspect": s.text} for x in other.broken],
            "true_only_if": [*row["true_only_if"], f"{s.text} is not the fault"],
        }
    return row


__all__ = ["Alive", "Suspect", "alive", "doubted"]
