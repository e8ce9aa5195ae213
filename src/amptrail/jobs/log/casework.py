"""What is told to a job besides readings: the cause, what was done, what is left, what is temporary, what
it took.

Each function looks at what was said, checks it against the sheet where it can be checked, and gives the
entry's kind and data.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from amptrail.circuit.model import TOUCHES
from amptrail.errors import nearest, one
from amptrail.jobs.base.context import load
from amptrail.paper.words import languages
from amptrail.sheet import parse_fault
from amptrail.sheet.words import name_text, term_text
from amptrail.store import JobState

Told = tuple[str, dict[str, Any]]
SETTABLE = {
    "by": str, "currency": str, "vehicle": str, "rate": float, "battery_ah": float, "battery_v": float,
    "customer": str, "vat": float, "flat": float, "number": str, "terms": str, "language": str,
    "odometer": str, "issuer": str, "agreed": float, "history": str,
}  # fmt: skip
MOST_FIGURE = 1e9  # money, hours and volts stay below
PLACES_OF_TIME = ("call", "drive", "access", "test", "wait", "repair", "verify", "paper")


@dataclass(frozen=True, slots=True)
class Said:
    """The words of one call and its options by name (`cause`, `until`, `asked`, `purpose`, `minutes`)."""

    text: str
    more: Mapping[str, Any] = field(default_factory=dict)


def _words(said: Said, action: str, example: str) -> str:
    if not said.text:
        raise one("usage", f"job {action} needs words", remedy=f"amptrail job {action} NAME {example}")
    return said.text


def conclude(said: Said, state: JobState) -> Told:
    """The proven fault in the words of the sheet, and what caused it."""
    text = said.text or state.conclusion
    if not text and not said.more.get("cause"):
        _words(said, "conclude", '"X7.4 resistance" --cause "water stood in the plug"')
    if said.text and state.sheet is not None:
        circuit = load(state.sheet).circuit
        for half in said.text.split(" and "):
            parse_fault(circuit, half.strip())
    return "conclusion", {"text": text or "", "cause": said.more.get("cause")}


def done(said: Said, state: JobState) -> Told:
    """A repair that was made."""
    return "repair", {"text": _words(said, "done", '"new pin in X7.4"'), "minutes": said.more.get("minutes")}


def new_from_here(state: JobState) -> list[str]:
    """Readings lines for a repair of what was concluded: from here on these parts are as new, and what
    touched metal touches it no more."""
    if state.sheet is None or not state.conclusion or not state.readings:
        return []
    circuit = load(state.sheet).circuit
    halves = [x.strip() for x in state.conclusion.split(" and ") if x.strip()]
    every = (f for x in halves for f in parse_fault(circuit, x))
    mended = dict.fromkeys(term_text(f.at) if f.mode in TOUCHES else name_text(f.at.part) for f in every)
    said = {line.strip() for _, line in state.readings}
    return [x for m in mended if (x := f"{m} repaired") not in said]


def left(said: Said, state: JobState) -> Told:
    """Something that was seen and left undone."""
    return "left", {"text": _words(said, "left", '"the overflow hose still drips"')}


def note(said: Said, state: JobState) -> Told:
    """Anything worth keeping."""
    return "note", {"text": _words(said, "note", '"customer tows a trailer"')}


def took(said: Said, state: JobState) -> Told:
    """Minutes of one kind of time, in place of what the log counted; with `+` they come on top."""
    words = _words(said, "time", '"wait 20"').removesuffix("min").strip()
    what, _, number = words.rpartition(" ")
    more = number.startswith("+")
    try:
        minutes = float(number.removeprefix("+").replace(",", "."))
    except ValueError:
        minutes = -1.0
    if not what or not 0 <= minutes < 100_000:
        raise one("bad-time", f"{said.text!r} is no time", expected=PLACES_OF_TIME,
                  remedy='write it as "wait 20": what, then minutes; "wait +20" comes on top')  # fmt: skip
    return "time", {"what": what.strip(), "minutes": minutes, "more": True if more else None}


def settle(said: Said, state: JobState) -> Told:
    """Facts of the job: who, rate, currency, battery."""
    facts: dict[str, Any] = {}
    for bit in _words(said, "set", "rate=95 currency=EUR").split(";"):
        name, sign, value = bit.partition("=")
        if not bit.strip():
            continue
        name = name.strip()
        if not sign or name not in SETTABLE:
            raise one("bad-fact", f"no fact is called {name!r}", expected=tuple(SETTABLE),
                      nearest=nearest(name, list(SETTABLE)), remedy="write it as NAME=VALUE")  # fmt: skip
        try:
            facts[name] = SETTABLE[name](
                value.strip().replace(",", ".") if SETTABLE[name] is float else value.strip()
            )
        except ValueError:
            raise one("bad-fact", f"{value!r} is no number for {name}", remedy=f"write {name}=12.5") from None
        _possible(name, facts[name])
    return "state", facts


def _possible(name: str, value: object) -> None:
    """InputError for a figure no bill or battery has, and a language no paper speaks."""
    if isinstance(value, float) and not 0 <= value < MOST_FIGURE:
        raise one("bad-fact", f"{name} cannot be {value:g}", remedy=f"write {name}=12.5")
    if name == "language" and value not in languages():
        raise one("no-language", f"no paper speaks {value!r}", expected=languages(),
                  nearest=nearest(str(value), languages()), remedy="language=en")  # fmt: skip


def part(said: Said, state: JobState) -> Told:
    """A part that was used, for the invoice: how many (one unless said) and the price of one."""
    words = _words(said, "part", '"relay 12 V 40 A" --price 12.50 --count 1')
    count, price = (None if x is None else float(x) for x in (said.more.get("count"), said.more.get("price")))
    for name, value in (("count", count), ("price", price)):
        _possible(name, value)
    return "part", {"text": words, "count": 1.0 if count is None else count, "price": price}


ACTIONS: dict[str, Callable[[Said, JobState], Told]] = {
    "conclude": conclude, "done": done, "left": left, "note": note, "time": took, "set": settle,
    "part": part,
}  # fmt: skip
