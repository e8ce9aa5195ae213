"""Facts of a job that papers show beside what was found: money, time, places, the drawing, photographs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from amptrail.circuit.model import Circuit, Fault, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.draw.overlay import Overlay
from amptrail.errors import InputError
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.joblog import Case, opened
from amptrail.jobs.feeding.fitwords import place_of
from amptrail.jobs.log.minutes import spent
from amptrail.jobs.solved.feeds import overlay
from amptrail.jobs.solved.observe import Observation, observations
from amptrail.paper.facts import Bill, Fitted, Used
from amptrail.paper.pictures import paperworthy
from amptrail.paper.told import told
from amptrail.paper.words import say
from amptrail.sheet import fault_text, parse_feed
from amptrail.sheet.said import rounded

MOST_PHOTOGRAPHS = 6
MOST_BYTES = 12_000_000  # of one photograph that is put on paper


def charged(case: Case, circuit: Circuit | None) -> dict[str, Any]:
    """Time, parts and the terms of the bill."""
    s = case.state
    told = {k: s.facts[k] for k in ("number", "customer", "issuer", "terms", "flat", "vat") if k in s.facts}
    used = tuple(Used(str(p.get("text", "")), float(p.get("count") or 1.0), p.get("price")) for p in s.parts)
    bill = Bill(**told, agreed_min=s.facts.get("agreed"))
    return {"spent": spent(case.entries, circuit), "used": used, "bill": bill}


def places(circuit: Circuit, faults: Sequence[Fault]) -> tuple[str, ...]:
    """Where the faults are, in the words of the sheet."""
    words = {key(p.name): f"{p.name}, {p.text}" if p.text else p.name for p in circuit.places}
    names = dict.fromkeys(place_of(circuit, f.at.part or f.at.name) for f in faults)
    return tuple(words.get(key(n), n) for n in names if n)


def no_drive(circuit: Circuit, feeds: Sequence[Fitted], faults: Sequence[Fault]) -> tuple[str, ...]:
    """Why the vehicle must not be driven: what concerns a safety circuit, a feed that was not proved."""
    classes = {key(r.part): (r.part, r.refuse_class) for r in circuit.refuses}
    met = dict.fromkeys(key(f.at.part) for f in faults)
    named = [classes[k] for k in met if k in classes]
    out = [say("slip.drive_safety", part=part, class_=told(kind)) for part, kind in named]
    return (*out, *(say("slip.drive_feed", name=f.name, why=told(f.why).rstrip(".")) for f in feeds
                    if f.fitted and not f.holds))  # fmt: skip


def _read(o: Observation) -> str | None:
    """What a reading says, as short as beside a point of the drawing."""
    unit = {"volts": "V", "amps": "A", "ohms": "ohm"}.get(o.spot.what if o.spot else "", "")
    if o.kind == "number" and unit:
        return f"{o.value:g} {unit}"
    if o.kind == "range" and unit:
        return f"{o.low:g}–{o.high:g} {unit}"
    return told(o.word) if o.kind == "lit" else None


def fitted_in(circuit: Circuit, feeds: Sequence[Mapping[str, Any]]) -> tuple[Circuit, Overlay]:
    """The circuit with every temporary feed that is in the vehicle, and what marks them on a drawing."""
    names: list[str] = []
    parts: set[str] = set()
    cuts: set[str] = set()
    declared = {key(f.name): f for f in circuit.feeds}
    for row in (f for f in feeds if f.get("fitted")):
        name = str(row["name"])
        try:
            f = declared.get(key(name)) or parse_feed(circuit, str(row["text"]), name)
        except InputError:  # the sheet was changed since, and its points are gone: the list still tells it
            continue
        circuit = overlay(circuit, f)
        names.append(name)
        parts |= {p.name for p in f.parts}
        cuts |= set(f.cuts)
    return circuit, Overlay(feed=frozenset(parts), feed_name=", ".join(names), cuts=frozenset(cuts))


def drawing(
    circuit: Circuit, faults: Sequence[Fault], readings: str, feeds: Sequence[Mapping[str, Any]] = ()
) -> str:
    """The circuit as it was left, the proven fault marked and each reading at its point, by its number on the
    page."""
    from amptrail.circuit.wiring import wiring
    from amptrail.draw import draw

    circuit, marked = fitted_in(circuit, feeds)
    lines = [n for n, line in enumerate(readings.splitlines(), 1) if line.split("#", 1)[0].strip()]
    number = {line: n for n, line in enumerate(lines, 1)}
    joined = wiring(circuit)
    shown: dict[str, str] = {}
    for o in observations(circuit, readings).used:
        words = _read(o)
        if o.spot is None or o.spot.what != "volts" or o.spot.b is not None or words is None:
            continue
        node = joined.node(o.spot.a)
        if node is not None:
            shown[str(joined.names[node])] = f"({number.get(o.line, o.line)}) {words}"  # the latest stands
    places_ = [f.at if f.at.part else Term(f.at.name, "") for f in faults]
    marks = tuple(
        (at, told(rounded(fault_text(circuit, (f,))))) for at, f in zip(places_, faults, strict=True)
    )
    return draw(circuit, replace(marked, readings=tuple(shown.items()), faults=marks), "print").svg


def photographs(case: Case) -> tuple[tuple[str, bytes, str], ...]:
    """The photographs of a job, without what a camera writes beside the picture (place, device)."""
    wanted = [f for f in case.state.files if f.get("media") in ("image/jpeg", "image/png")]
    wanted = [f for f in wanted if int(f.get("size", 0)) <= MOST_BYTES][-MOST_PHOTOGRAPHS:]
    if not wanted:
        return ()
    out = []
    with opened() as log:
        for f in wanted:
            content = paperworthy(b"".join(log.file(str(f["sha256"]))), str(f["media"]))
            if content is not None:
                out.append((str(f["media"]), content, str(f.get("text") or f.get("name") or "")))
    return tuple(out)


def to_read(circuit: Circuit, plan: Json) -> tuple[tuple[str, ...], ...]:
    """What is worth reading next, as rows of the pencil sheet: where, state, with, other lead."""
    known = {key(p.name) for p in drive_cycle(circuit)}
    rows: dict[tuple[str, ...], None] = {}
    for visit in plan["visits"]:
        for t in visit["tests"]:
            point, phase = str(t.get("point") or ""), str(t.get("phase") or "")
            if point and key(phase) in known:
                rows[(point, phase, str(t.get("instrument") or ""), str(t.get("to") or ""))] = None
    return tuple(rows)
