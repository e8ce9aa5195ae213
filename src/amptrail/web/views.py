"""What a page shows, from the answers of the use cases. Words for probabilities, outcomes, instruments; no
logic of the job."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from amptrail.jobs.figures import figure, how_sure

Json = dict[str, Any]
NUMBERS = {"meter": "V", "loaded": "V", "clamp": "A", "ohmmeter": "ohm", "fuse-drop": "mV", "scope": "V"}
LAMPS = ("dark", "dim", "bright")
UNITS = {"V": ("V", "mV"), "A": ("A", "mA"), "ohm": ("ohm", "kohm"), "mV": ("mV", "V")}
LEADS = {"meter": "black lead", "lamp": "clip", "led": "clip", "loaded": "other lead"}


def plain(fault: str) -> str:
    """A fault as a person says it: no figures of many digits, no quotes that only the notation needs."""
    return re.sub(r"(\d+\.\d{2})\d+", r"\1", fault).replace("`", "")


@dataclass(frozen=True)
class Outcome:
    """What could be read, and what that would leave."""

    words: str
    leaves: tuple[str, ...]
    value: str | None = None  # what the line gets when this answer is tapped; None: type a number


@dataclass(frozen=True)
class TestCard:
    """One test of a visit, as the phone shows it."""

    line: str
    do: tuple[str, ...]
    point: str
    phase: str
    instrument: str
    lead: str
    why: str
    cautions: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    units: tuple[str, ...]
    action: str


@dataclass(frozen=True)
class Visit:
    """Everything cheap once you are there."""

    place: str
    phase: str
    minutes: int
    tests: tuple[TestCard, ...] = ()
    cautions: tuple[str, ...] = field(default=())


def _outcomes(t: Json, numeric: bool) -> tuple[Outcome, ...]:
    """For a lamp and for senses an answer is a word to tap; numbers show their band and are typed."""
    merged: dict[tuple[str, ...], list[str]] = {}
    for o in t["outcomes"]:
        leaves = tuple(dict.fromkeys(plain(x["text"]) for x in o["leaves"][:2]))
        merged.setdefault(leaves, []).append(o["words"])
    if numeric:
        return tuple(Outcome(" or ".join(words), leaves) for leaves, words in merged.items())
    found = {w: leaves for leaves, many in merged.items() for words in many for w in words.split(" or ")}
    words = list(dict.fromkeys((*LAMPS, *found))) if t["instrument"] in ("lamp", "led") else list(found)
    return tuple(Outcome(w, found.get(w, ()), w) for w in words)


def card(t: Json) -> TestCard:
    """One test."""
    unit = NUMBERS.get(t["instrument"] or "")
    to = t["to"] if t["to"] and t["to"] != "BAT.-" else "battery minus"
    lead = f"{LEADS[t['instrument']]} on {to}" if t["instrument"] in LEADS else ""
    do = tuple(x for x in t["with"])
    return TestCard(
        t["line"],
        do,
        t["point"],
        t["phase"],
        t["instrument"] or "",
        lead,
        plain(t["why"]),
        tuple(t["cautions"]),
        _outcomes(t, unit is not None),
        UNITS[unit] if unit else (),
        t["action"],
    )


def visits(plan: Json) -> tuple[Visit, ...]:
    """The visits of a plan; cautions of all tests of a visit once, on top."""
    found = []
    for v in plan["visits"]:
        tests = tuple(card(t) for t in v["tests"])
        said = tuple(dict.fromkeys(c for t in tests for c in t.cautions))
        found.append(Visit(v["place"] or "", v["phase"] or "", round(v["minutes_min"]) or 1, tests, said))
    return tuple(found)


def columns(weighed: Json) -> tuple[list[Json], list[Json]]:
    """Suspects as two plain columns: what still fits, and what was ruled out by which reading."""
    fits = [
        {
            "words": " and ".join(plain(f["text"]) for f in r["faults"]),
            "sure": how_sure(r["probability"]),
            "others": [plain(x) for x in r["equivalent"][:3]],
            "repair": r["repair"],
            "why": r["why"],
        }
        for r in weighed["suspects"]
        if r["probability"] >= 0.005
    ]
    gone = [
        {"line": r["text"], "out": [plain(x) for x in r["ruled_out"][:4]]}
        for r in weighed["ruled_out_by"]
        if r["count"]
    ]
    return fits, gone


def band(r: Json) -> str:
    """What a point reads, healthy or with a supposed fault."""
    if r["alternates"]:
        low, high = r["alternates"]
        return f"{figure(low, r['unit'])} and {figure(high, r['unit'])} by turns"
    if r["value"] is None:
        return "over range" if "over_range" in r["flags"] else "no steady value"
    if r["low"] is None or abs(r["high"] - r["low"]) < 0.02:
        return f"about {figure(r['value'], r['unit'])}"
    return f"{figure(r['low'], r['unit'])} to {figure(r['high'], r['unit'])}"
