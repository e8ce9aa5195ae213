"""What a page shows, from the answers of the use cases. Words for probabilities, outcomes, instruments; no
logic of the job."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any

from amptrail.circuit.model import Term
from amptrail.jobs.base.figures import WAIT, figure, how_sure, left_by, spans
from amptrail.sheet.said import called, plain, short, wires
from amptrail.sheet.words import free_text, name_text, term_text

Json = dict[str, Any]
NUMBERS = {"meter": "V", "loaded": "V", "clamp": "A", "ohmmeter": "ohm", "fuse-drop": "mV", "scope": "V"}
LAMPS = ("dark", "dim", "bright")
SAID = {"sounds silent": "silent", "does not": "does not work"}
QUICK = {"meter": ("nothing", "same as battery"), "loaded": ("nothing", "same as battery"),
         "clamp": ("nothing",), "ohmmeter": ("over range",)}  # fmt: skip
MOST_TESTS, MOST_VISITS, MOST_ALIKE = 5, 3, 4
POSSIBLE = 0.1  # below this, words for one alone would call it unlikely
UNITS = {"V": ("V", "mV"), "A": ("A", "mA"), "ohm": ("ohm", "kohm"), "mV": ("mV", "V")}
FAILING = " while failing"
LIT = (("s, then dark", "lit … s then dark"), ("s, still lit", "lit > … s"))  # … is where the figure goes
WHOLE_MIN = re.compile(r"(\d+)\.(\d+) min")


def _whole(m: re.Match[str]) -> str:
    """Whole minutes: nobody works by tenths of one."""
    return f"about {max(round(float(f'{m[1]}.{m[2]}')), 1)} min"


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
    point: str
    question: str
    first: tuple[str, ...]
    where: str
    lead: str
    after: tuple[str, ...]
    why: str
    cautions: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    units: tuple[str, ...]
    quick: tuple[str, ...]
    times: tuple[tuple[str, str], ...] = ()  # keys of a pad for seconds, where the instrument tells times
    waits: bool = False  # it is to be read while what fails fails: said by a box that is ticked


@dataclass(frozen=True)
class Visit:
    """Everything cheap once you are there."""

    place: str
    about: str
    phase: str
    state: str
    minutes: int
    tests: tuple[TestCard, ...] = ()
    cautions: tuple[str, ...] = field(default=())

    @property
    def wait(self) -> str:
        """What to do first where something is waited for; empty where nothing is."""
        return WAIT if any(t.waits for t in self.tests) else ""


def _outcomes(t: Json, numeric: bool) -> tuple[Outcome, ...]:
    """For a lamp and for senses an answer is a word to tap; numbers show their band and are typed."""
    merged: dict[tuple[str, ...], list[Json]] = {}
    for o in t["outcomes"]:
        leaves = tuple(dict.fromkeys(short(x) for x in left_by(o)))
        merged.setdefault(leaves, []).append(o)
    if numeric:
        seen: dict[str, dict[str, None]] = {}  # what looks the same leaves what each of its outcomes leaves
        for leaves, many in merged.items():
            seen.setdefault(" or ".join(spans(many)), {}).update(dict.fromkeys(leaves))
        return tuple(Outcome(words, tuple(left)) for words, left in seen.items())
    found = {w: leaves for leaves, many in merged.items() for o in many for w in o["words"].split(" or ")}
    words = list(dict.fromkeys((*LAMPS, *found))) if t["instrument"] in ("lamp", "led") else list(found)
    return tuple(Outcome(SAID.get(w, w), found.get(w, ()), w) for w in words)


def where(ask: Json) -> str:
    """Where on the part the lead goes, and how it is reached."""
    told = ", ".join(x for x in (ask["where"], ask["reached"]) if x)
    return wires(told).replace("wire (wire ", "wire (")


def card(t: Json) -> TestCard:
    """One test."""
    unit = NUMBERS.get(t["instrument"] or "")
    ask = t["ask"]
    return TestCard(
        t["line"].replace(FAILING, "") if t.get("while") else t["line"],
        t["point"],
        wires(ask["question"]),
        tuple(ask["first"]),
        where(ask),
        ask["lead"],
        tuple(ask["after"]),
        WHOLE_MIN.sub(_whole, short(t["why"])),
        tuple(t["cautions"]),
        _outcomes(t, unit is not None),
        UNITS[unit] if unit else (),
        QUICK.get(t["instrument"] or "", ()),
        times(t["instrument"]),
        t.get("while") is not None,
    )


def times(instrument: str | None) -> tuple[tuple[str, str], ...]:
    """Keys for how long a light was lit: no other reading is a time."""
    return LIT if instrument in ("lamp", "led") else ()


def visits(plan: Json) -> tuple[Visit, ...]:
    """The first visits of a plan; a caution of all tests of a visit stands once, on top."""
    found = []
    for v in plan["visits"][:MOST_VISITS]:
        tests = tuple(card(t) for t in v["tests"][:MOST_TESTS])
        said = tuple(c for c in tests[0].cautions if all(c in t.cautions for t in tests))
        tests = tuple(replace(t, cautions=tuple(c for c in t.cautions if c not in said)) for t in tests)
        found.append(
            Visit(
                v["place"] or "the vehicle",
                v["about"],
                v["phase"] or "",
                v["state"],
                round(v["minutes_min"]) or 1,
                tests,
                said,
            )
        )
    return tuple(found)


def _sure(p: float, first: float) -> str:
    """In words; where nothing stands out, the first of many are not called unlikely."""
    return "one of many" if p < POSSIBLE and p > first / 4 else how_sure(p)


def columns(weighed: Json) -> tuple[list[Json], list[Json]]:
    """Suspects as two plain columns: what still fits, and what was ruled out by which reading."""
    fits = [
        {
            "words": plain(r["words"]),
            "sure": _sure(r["probability"], weighed["suspects"][0]["probability"]),
            "text": r["text"],
            "others": [{"words": short(x), "text": x} for x in r["equivalent"][:MOST_ALIKE]],
            "repair": r["repair"],
            "why": r["why"],
            "drawn": r["drawn"],
        }
        for r in weighed["suspects"]
        if r["probability"] >= 0.005
    ]
    gone = [
        {"line": r["text"], "out": [short(x) for x in r["ruled_out"][:4]]}
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


def units(instrument: str) -> tuple[str, ...]:
    """The keys beside the figures of an instrument."""
    return UNITS[NUMBERS.get(instrument, "V")]


def leading(weighed: Json) -> list[Json]:
    """The suspects that are compared point by point: single ones, the likeliest three."""
    single = [r for r in weighed["suspects"] if len(r["faults"]) == 1 and r["probability"] >= 0.005]
    return [
        {"text": r["text"], "words": plain(r["text"]), "part": r["faults"][0]["part"]} for r in single[:3]
    ]


def written(point: str, parts: list[str]) -> str:
    """A point as a reading names it."""
    part = max((p for p in parts if point.startswith(f"{p}.")), key=len, default="")
    return term_text(Term(part, point.removeprefix(f"{part}."))) if part else name_text(point)


def readings(rows: list[Json], phase: str, beside: list[list[Json]], names: dict[str, str]) -> list[Json]:
    """The rows of the table of a circuit: the band, and what each leading suspect would make it read.
    `names`: every point as a reading names it, and as it is shown."""
    others = [{r["point"]: r for r in more} for more in beside]
    return [
        {
            "point": names.get(r["point"], r["point"]),
            "written": r["point"],
            "called": called(names.get(r["point"]) or str(r["point"])),
            "band": band(r),
            "flags": r["flags"],
            "line": f"{r['point']} in {free_text(phase)} {r['instrument']} {{value}}",
            "units": units(r["instrument"]),
            "if": [band(o[r["point"]]) if r["point"] in o else "-" for o in others],
        }
        for r in rows
    ]


def shared_cautions(rows: list[Json]) -> list[str]:
    """Cautions of every feed that may be fitted: said once, on top of them."""
    fit = [r["cautions"] for r in rows if r["verdict"] != "refused"]
    return [c for c in fit[0] if all(c in other for other in fit)] if fit else []


def hits(refusals: list[Json]) -> str:
    """Where one rule refuses: each part with the phases, each once."""
    found: dict[str, list[str]] = {}
    for m in refusals:
        phases = found.setdefault(m["part"] or "", [])
        if m["phase"] and m["phase"] not in phases:
            phases.append(m["phase"])
    told = [" in ".join(x for x in (part, ", ".join(phases)) if x) for part, phases in found.items()]
    return "; ".join(told[:4]) + (f"; and {len(told) - 4} more" if len(told) > 4 else "")
