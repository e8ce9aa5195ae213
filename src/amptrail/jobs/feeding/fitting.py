"""A feed that is fitted to a job: judged first, kept with its verdict; and the sheet as the vehicle was
left."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amptrail.circuit.model import Circuit, Feed, key
from amptrail.errors import nearest, one, typed
from amptrail.jobs.base.context import Json, load
from amptrail.jobs.base.joblog import Case
from amptrail.jobs.feeding.feeding import FeedOptions, feed
from amptrail.jobs.feeding.fitwords import broken, drain_a, how_off, lost, place_of, stays_on
from amptrail.jobs.solved.feeds import find_feed
from amptrail.sheet import parse_feed
from amptrail.sheet.printer import feed_lines


def _ends(row: Json) -> tuple[str, str]:
    """Where a feed begins and ends, from its words."""
    words = str(row["text"]).split()
    low = [w.lower() for w in words]
    a = words[low.index("from") + 1] if "from" in low else ""
    b = words[low.index("to") + 1] if "to" in low else ""
    return a, b


def fitted(case: Case, text: str, more: Mapping[str, Any]) -> dict[str, Any]:
    """The log's record of a feed: judged for its purpose (`home` unless said), with what the papers need.

    InputError `feed-refused` when it does not hold and nobody said `--anyway`: what is unsafe is not fitted
    by mistake.
    """
    if not text:
        example = "from F3.out to K4.86 fuse 5 A wire 0.75 mm2 2 m"
        raise one("usage", "which feed was fitted?", remedy=f'amptrail job fit NAME "{example}"')
    row = judged(case, text, str(more.get("purpose") or "home"))
    if row["verdict"] != "holds" and not more.get("anyway"):
        raise one(
            "feed-refused", f"this feed is {row['verdict']}: {row['why'] or row['rule']}",
            expected=tuple(sorted({m["rule"] for m in row["refusals"]})),
            remedy=f"look for one that holds: amptrail feed {typed(case.name)} --restore PART",
        )  # fmt: skip
    return {**record(case, text, row), "until": more.get("until"), "asked_by": more.get("asked"),
            "fitted": True}  # fmt: skip


def broken_by(case: Case) -> dict[str, Any]:
    """What a feed of this job is judged against: what was concluded or, before that, everything the readings
    leave alive."""
    told, readings = case.state.conclusion, case.state.readings_text
    return {"against": (told,) if told else (), "readings_text": None if told or not readings else readings}


def judged(case: Case, text: str, purpose: str) -> Json:
    """The verdict on a feed, on the vehicle as it stands."""
    asked = FeedOptions(feeds=(text,), purpose=purpose, fitted=in_place(case), **broken_by(case))
    return dict(feed(as_left(case), asked)["feeds"][0])


def record(case: Case, text: str, row: Json) -> dict[str, Any]:
    """A judged feed as the log keeps it and papers read it."""
    circuit = load(case.texts()[0]).circuit
    found = _named(case, circuit, text)
    fuses = [p["rating_a"] for p in row["parts"] if p["what"] == "fuse" and p["rating_a"]]
    wires = [p for p in row["parts"] if p["what"] == "wire" and p["area_mm2"]]
    ends = _ends({"text": row["long_text"][0]} if row["long_text"] else row)
    a, b = (_hub(circuit, x) for x in ends)
    name = found.name
    return {
        "name": name, "words": row["label"].replace(" FEED:", f" FEED {name}:", 1), "text": text,
        "a": a, "b": b, "a_place": place_of(circuit, a), "b_place": place_of(circuit, b),
        "verdict": row["verdict"], "why": row["why"], "broken": broken(row), "cautions": row["cautions"],
        "fuse_a": min(fuses) if fuses else None, "fuse_place": _at(a, place_of(circuit, a)),
        "wire": ", ".join(f"{w['area_mm2']:g} mm2 (AWG {w['awg']}), {_long(w['length_m'])}" for w in wires),
        "parts": [p["what"] for p in row["parts"]], "cuts": list(found.cuts), "minutes": row["minutes_min"],
        "true_only_if": row["true_only_if"], "stays_on": stays_on(row), "lost": lost(row),
        "how_off": how_off(name, a, fuses), "drain_a": drain_a(row),
        "undo": [f"take out {name}: {a} to {b}", *(f"join {c} again" for c in found.cuts)],
        "lines": list(feed_lines(circuit, found)), "purpose": row["purpose"],
    }  # fmt: skip


def _hub(circuit: Circuit, point: str) -> str:
    """A leg of a splice or ground as its name alone: nobody at the vehicle counts legs."""
    name, dot, leg = point.rpartition(".")
    hub = any(key(p.name) == key(name) and p.kind in ("splice", "ground") for p in circuit.parts)
    return name if dot and leg.isdigit() and hub else point


def _long(length_m: float | None) -> str:
    """A length in both worlds' units, like the size of the wire beside it."""
    return f"{length_m:g} m ({length_m / 0.3048:.0f} ft)" if length_m else "length not told"


def _at(point: str, place: str) -> str:
    return f"{point} ({place})" if place else point


def _named(case: Case, circuit: Circuit, text: str) -> Feed:
    """The feed of the sheet by its name, or one in words with the next free name."""
    declared = [key(f.name) for f in circuit.feeds]
    if key(text.strip()) in declared:
        return find_feed(circuit, text)
    taken = {*declared, *(key(str(f["name"])) for f in case.state.feeds if not f.get("asked"))}
    free = next(f"J{n}" for n in range(1, len(taken) + 2) if f"j{n}" not in taken)
    return parse_feed(circuit, text, free)


def removed(case: Case, name: str) -> dict[str, Any]:
    """The log's record of a feed that was taken out again; InputError when none of that name is fitted."""
    there = in_place(case)
    found = next((n for n in there if key(n) == key(name)), None)
    if found is None:
        raise one("nothing-fitted", f"job {case.name} has no temporary feed {name}".rstrip(), expected=there,
                  nearest=nearest(name, there),
                  remedy=f"see what is fitted: amptrail job show {typed(case.name)}")  # fmt: skip
    return {"name": found, "removed": True}


def in_place(case: Case) -> tuple[str, ...]:
    """Names of the feeds that are in the vehicle: `as_left` declares them all."""
    return tuple(dict.fromkeys(str(f["name"]) for f in case.state.feeds if f.get("fitted")))


def as_left(case: Case) -> str:
    """The sheet as the vehicle was left: what was drawn, and every feed still fitted."""
    sheet_text, _ = case.texts()
    lines = [line for f in case.state.feeds if f.get("fitted") for line in f.get("lines", ())]
    known = {line.strip() for line in sheet_text.splitlines()}
    new = [line for line in lines if line.strip() not in known]
    note = "# as left: temporary feeds still fitted\n" if new else ""
    return sheet_text.rstrip("\n") + "\n" + note + "".join(f"{line}\n" for line in new)
