"""Tests outside a visit with the words for a person at the vehicle, as the visit card asks them, so that
whoever holds the phone reads the same grammar everywhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from amptrail.circuit.model import Circuit, Term, key
from amptrail.errors import InputError
from amptrail.jobs.base.context import load
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.judging.asking import asking, phase_words
from amptrail.jobs.judging.condemn import leading
from amptrail.jobs.judging.proofsheet import condemn
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.jobs.solved.spots import place_of

Json = dict[str, Any]
BODY = re.compile(r"(?P<at>.+?)(?: to (?P<to>.+?))? in (?P<phase>.+) (?P<way>\S+) \{value\}")
TRIES = re.compile(r"(?P<what>.+) in .+ works \{value\}")
HOW_MANY = re.compile(r"\d+ of \d+")


def worded(circuit: Circuit, t: Json, outcomes: list[str]) -> Json:
    """The test with `ask`, `state`, `place` and `outcomes`, from the line it would add."""
    rows = t["line"].split("\n")
    first = rows[0].removeprefix("with ").split(", ") if rows[0].startswith("with ") else []
    body = next(r for r in rows if "{value}" in r)
    hit = BODY.fullmatch(body)
    measured = hit is not None and t["instrument"] not in (None, "eye")
    asked = {
        "with": first, "how": "", "instrument": t["instrument"], "outcomes": [{"words": w} for w in outcomes],
        "point": hit["at"].replace("`", "") if hit and measured else t["point"],
        "to": hit["to"].replace("`", "") if hit and measured and hit["to"] else None,
    }  # fmt: skip
    ask = asdict(asking(circuit, asked))
    if not measured and (tried := TRIES.fullmatch(body)) and HOW_MANY.match(outcomes[0]):
        ask["question"] = f"Try {tried['what'].replace('`', '')} twice: how often does it work?"
    place = t.get("place") or place_of(circuit, Term(asked["point"].partition(".")[0], "")) or ""
    return {**t, "ask": ask, "state": phase_words(circuit, t["phase"]), "place": place, "answers": outcomes}


def _offered(circuit: Circuit, t: Json | None) -> Json | None:
    return None if t is None else worded(circuit, t, [t["good"], *t["bad"].split(", ")])


def _parts(j: Judgement) -> Iterator[str]:
    """Parts that could be called dead, the likeliest first."""
    blamed = [key(f.at.part) for h in j.post.ranking() for c in j.suspects[h].causes for f in c.faults]
    names = {key(p.name): p for p in j.circuit.parts if p.kind != "wire"}
    for name in dict.fromkeys(blamed):
        if name in names:
            try:
                leading(j, names[name].name)
            except InputError:  # nothing of it can be called dead
                continue
            yield names[name].name


def part_sheet(
    sheet_text: str, readings_text: str, part: str | None = None, own: Own = STANDARD, history: History = NONE
) -> Json:
    """`condemn`, each test as it is asked, and the parts a sheet can be about."""
    got = condemn(sheet_text, readings_text, part, own, history)
    circuit = load(sheet_text).circuit
    j = judge(circuit, readings_text, history=history, own=own).leading  # the one just made, kept
    lines = [{**x, "tests": [_offered(circuit, t) for t in x["tests"]]} for x in got["lines"]]
    others = [{**a, "test": _offered(circuit, a["test"])} for a in got["alternatives"]]
    return {**got, "lines": lines, "alternatives": others, "parts": list(_parts(j))}
