"""A vehicle that comes back: a new job on the sheet as it was left, the old conclusion under suspicion."""

from __future__ import annotations

import uuid
from typing import Any

from amptrail.circuit.model import key
from amptrail.errors import InputError, one, typed
from amptrail.jobs.base.context import Json, load
from amptrail.jobs.base.joblog import Ask, Case, known
from amptrail.jobs.log.shop import own_lines
from amptrail.sheet import parse_fault
from amptrail.sheet.words import name_text
from amptrail.store import Entry, alive, rebuild

FACTS = ("vehicle", "battery_ah", "rate", "currency", "language", "customer", "vat", "terms", "issuer")


def left_sheet(entries: list[Entry], name: str) -> str | None:
    """The sheet as the vehicle was left: kept when the job was closed, else as it stands now."""
    from amptrail.jobs.feeding.fitting import as_left

    kept = [e.data.get("sheet") for e in alive(entries) if e.kind == "close"]
    if kept and isinstance(kept[-1], str):
        return kept[-1]
    case = Case(name, rebuild(entries))
    return as_left(case) if case.state.sheet is not None else None


def _suspected(name: str, sheet: str | None, conclusion: str | None) -> list[str]:
    """Readings lines that put what was repaired last time under suspicion again."""
    if sheet is None or not conclusion:
        return []
    try:
        circuit = load(sheet).circuit
        faults = [f for x in conclusion.split(" and ") if x.strip() for f in parse_fault(circuit, x.strip())]
    except InputError:
        return []
    known = {key(p.name): p.name for p in circuit.parts}
    parts = dict.fromkeys(known[key(f.at.part)] for f in faults if key(f.at.part) in known)
    said = conclusion.replace('"', "'")
    return [f'worked on {name_text(p)} "repaired in job {name}: {said}"' for p in parts]


def again(a: Ask) -> Json:
    """Start a new job from how an earlier one left the vehicle: its sheet, its feeds, its facts, and what was
    concluded then."""
    new = a.words
    if not new:
        raise one("usage", "what shall the new job be called?",
                  remedy=f"amptrail job again {typed(a.name)} NEWNAME")  # fmt: skip
    entries = known(a.log, a.name)
    if a.log.entries(new):
        raise one("job-exists", f"there is a job {new} already", remedy="choose another name")
    old = rebuild(entries)
    base = a.entry_id or uuid.uuid4().hex[:12]
    facts: dict[str, Any] = {k: old.facts[k] for k in FACTS if k in old.facts}
    done = [str(r.get("text", "")) for r in old.repairs]
    facts["comeback"] = {
        "job": a.name, "conclusion": old.conclusion, "cause": old.cause, "done": done, "left": list(old.left),
    }  # fmt: skip
    said = a.complaint or f"came back: {old.complaint or 'complaint not said'}"
    wanted = [a.entry("intake", {"text": said}, f"{base}.intake", new)]
    sheet = left_sheet(entries, a.name)
    if sheet is not None:
        load(sheet)
        wanted.append(a.entry("sheet", {"text": sheet, "file": f"as left of {a.name}"}, f"{base}.sheet", new))
    for n, line in enumerate(_suspected(a.name, sheet, old.conclusion)):
        wanted.append(a.entry("reading", {"text": line}, f"{base}.old{n}", new))
    mine = own_lines(a.log, a.by)
    wanted += [a.entry("reading", {"text": x}, f"{base}.tool{n}", new) for n, x in enumerate(mine)]
    wanted += [a.entry("feed", f, f"{base}.feed{n}", new) for n, f in enumerate(old.feeds) if f.get("fitted")]
    wanted.append(a.entry("state", facts, f"{base}.facts", new))
    added = a.log.add_all(wanted)
    return {"job": new, "added": [e.id for e in added]}
