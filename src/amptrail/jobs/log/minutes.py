"""Minutes of a job: from the times of its entries, by what they went into and where; corrected by hand.

The time between two entries belongs to what the later one tells: a reading is testing at its place, a
repair is repairing. A gap longer than a pause is not counted, unless it was the wait for the vehicle to
sleep. A clock that was set back counts nothing. What a person says of a kind of time stands in place of the
log's.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import drive_cycle
from amptrail.errors import InputError
from amptrail.jobs.feeding.fitwords import place_of
from amptrail.paper.facts import Spent
from amptrail.sheet import parse_readings
from amptrail.store import Entry, alive

PAUSE_MIN = 45.0  # a longer silence is lunch, another job, the night
LONGEST_WAIT_MIN = 60.0  # controllers that fall asleep later than this are their own fault to find
LEAST_MIN = 0.5  # less is not shown
ORDER = ("call", "drive", "access", "test", "wait", "repair", "verify", "paper")
# what a kind of entry tells its time went into; what is not here was done beside something else
INTO = {
    "reading": "test", "conclusion": "test", "file": "test", "recording": "test", "repair": "repair",
    "feed": "repair", "sheet": "paper", "left": "verify", "close": "verify",
}  # fmt: skip


def _gap_min(before: Entry, after: Entry) -> float:
    span = datetime.fromisoformat(after.at) - datetime.fromisoformat(before.at)
    return max(span.total_seconds() / 60.0, 0.0)


def _told(circuit: Circuit | None, line: str) -> tuple[str, bool]:
    """The place of a reading, and whether it was taken while the vehicle sleeps."""
    if circuit is None:
        return "", False
    try:
        items = parse_readings(circuit, line + "\n").items
    except InputError:
        return "", False
    if not items:
        return "", False
    phases = {key(p.name): p.base for p in drive_cycle(circuit)}
    return place_of(circuit, items[0].a.part), phases.get(key(items[0].phase or "")) == "asleep"


def _logged(entries: Sequence[Entry], circuit: Circuit | None) -> dict[str, dict[str, float]]:
    """Minutes by kind of time and by place, as the log tells them."""
    found: dict[str, dict[str, float]] = {}
    slept = False
    for before, e in pairwise(entries):
        what, place, gap, limit = INTO.get(e.kind, ""), "", _gap_min(before, e), PAUSE_MIN
        if e.kind == "reading":
            place, asleep = _told(circuit, str(e.data.get("text", "")))
            if asleep and not slept:
                what, place, limit = "wait", "", LONGEST_WAIT_MIN
            slept = asleep
        if e.kind == "repair" and e.data.get("minutes") is not None:
            gap = limit = float(e.data["minutes"])
        if what and gap <= limit:
            places = found.setdefault(what, {})
            places[place] = places.get(place, 0.0) + gap
    return found


def spent(entries: Sequence[Entry], circuit: Circuit | None) -> tuple[Spent, ...]:
    """Minutes by kind of time, kinds in the order a job goes through them, those of the user's own last."""
    rest = alive(entries)
    logged = _logged(rest, circuit)
    said: dict[str, float] = {}
    for e in rest:
        if e.kind == "time":
            what, minutes = str(e.data.get("what", "")), float(e.data.get("minutes", 0.0))
            base = said.get(what, sum(logged.get(what, {}).values())) if e.data.get("more") else 0.0
            said[what] = base + minutes
    names = sorted({*logged, *said}, key=lambda w: (ORDER.index(w) if w in ORDER else len(ORDER), w))
    found = (_one(n, logged.get(n, {}), said.get(n)) for n in names)
    return tuple(s for s in found if s.minutes >= LEAST_MIN)


def _one(what: str, places: dict[str, float], by_hand: float | None) -> Spent:
    if by_hand is not None:
        return Spent(what, by_hand, (), True)
    known = sorted(((p, m) for p, m in places.items() if p and m >= LEAST_MIN), key=lambda x: -x[1])
    return Spent(what, float(round(sum(places.values()))), tuple(known))
