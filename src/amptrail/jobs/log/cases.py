"""`job`: a case kept in the log; everything the command line does to a job goes through here."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from amptrail.circuit.model import Circuit
from amptrail.errors import InputError, one, typed
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.joblog import Ask, Case, Disk, ReadFile, case, known, known_case, opened, whose
from amptrail.jobs.log import casework, jobfiles, shop
from amptrail.jobs.log.comeback import again
from amptrail.jobs.log.jobwords import asked_and_told, feed_fitted, listing, standing, told
from amptrail.jobs.log.shop import late
from amptrail.sheet import Readings, parse_readings
from amptrail.sheet.readers import OWN_LINE
from amptrail.store import Entry, JobState, alive, rebuild, undone

__all__ = ["ACTIONS", "Case", "case", "known_case", "of_texts", "run"]


def of_texts(
    name: str, sheet: str, readings: str, complaint: str | None = None, done: str | None = None
) -> Case:
    """A sheet and its readings as a case that is in no log."""
    lines = tuple((str(n), line) for n, line in enumerate(readings.splitlines(), 1))
    repairs = ({"text": done},) if done else ()
    return Case(name, JobState(complaint=complaint, sheet=sheet, readings=lines, repairs=repairs))


def _tell(a: Ask, action: str) -> Json:
    """Conclusion, repair, what is left, minutes, facts: checked, then added. What is read after a repair is
    read of the repaired vehicle, so a repair says among the readings what is new from there on."""
    state = rebuild(known(a.log, a.name))
    kind, data = casework.ACTIONS[action](casework.Said(a.words, a.more), state)
    e = a.entry(kind, data)
    lines = casework.new_from_here(state) if action == "done" else []
    made = [a.entry("reading", {"text": x}, f"{e.id}.new{n}") for n, x in enumerate(lines)]
    added = a.log.add_all([e, *made])
    text = "\n".join([told(kind, e.id, e.data), *(f"among the readings from here on: {x}" for x in lines)])
    return {"added": [x.id for x in added], "text": text}


def _fit(a: Ask) -> Json:
    """A temporary feed that was judged and fitted."""
    from amptrail.jobs.feeding.fitting import fitted

    e = a.entry("feed", fitted(_case(a), a.words, a.more))
    return {"added": a.added(e), "text": feed_fitted(e)}


def _ask(a: Ask) -> Json:
    """What the shop or the owner asked for: judged, and kept with the answer."""
    from amptrail.jobs.feeding.offering import asked_for

    e = a.entry("feed", asked_for(_case(a), a.words, a.more))
    return {"added": a.added(e), "text": asked_and_told(e)}


def _remove(a: Ask) -> Json:
    """A temporary feed that was taken out again."""
    from amptrail.jobs.feeding.fitting import removed

    e = a.entry("feed", removed(_case(a), a.words))
    return {"added": a.added(e), "text": f"{e.id}: {e.data['name']} taken out again"}


def _case(a: Ask) -> Case:
    return Case(a.name, rebuild(known(a.log, a.name)))


def _close(a: Ask) -> Json:
    """The job is done: the sheet as it was left, every feed in it, and what its proven cause teaches are kept
    with it."""
    from amptrail.jobs.feeding.fitting import as_left
    from amptrail.jobs.log.lessons import kept

    state = rebuild(known(a.log, a.name))
    sheet = as_left(Case(a.name, state)) if state.sheet else None
    return {"added": a.added(a.entry("close", {"sheet": sheet, "taught": kept(a.name, state)}))}


def _new(a: Ask) -> Json:
    wanted = []
    base = a.entry_id or uuid.uuid4().hex[:12]
    if a.complaint:
        wanted.append(a.entry("intake", {"text": a.complaint}, f"{base}.intake"))
    if a.text:
        sheet = a.read(a.text[0])
        load(sheet)  # a sheet that cannot be read is said now, not at the vehicle
        wanted.append(a.entry("sheet", {"text": sheet, "file": a.text[0]}, f"{base}.sheet"))
    if not wanted:
        raise one(
            "usage", "a new job needs a sheet file or a complaint", remedy="amptrail job new NAME SHEET"
        )
    if not a.log.entries(a.name):  # the instruments one brings to every job
        mine = shop.own_lines(a.log, a.by)
        wanted += [a.entry("reading", {"text": x}, f"{base}.tool{n}") for n, x in enumerate(mine)]
    added = a.log.add_all(wanted)
    return {"added": [e.id for e in added]}


def _add(a: Ask) -> Json:
    line = a.words
    if not line:
        raise one(
            "usage", "there is no line to add", remedy='amptrail job add NAME "K4.87 in running meter 12.4"'
        )
    if line.startswith("@"):
        return _typed_in(a, line[1:].strip())
    entries = known(a.log, a.name)
    state = rebuild(entries)
    warned: list[str] = [x] if (x := late(entries)) else []
    number = len(state.readings) + 1
    if state.sheet is not None:
        told = _after(load(state.sheet).circuit, state, line + "\n")
        warned += [f"note: {w.message}\n  do this: {w.remedy}" for w in told.warnings if w.line == number]
        if OWN_LINE.match(line):
            from amptrail.jobs.solved.observe import observations

            observations(load(state.sheet).circuit, line + "\n")  # an instrument that cannot be is said now
    e = a.entry("reading", {"text": line})
    new = a.log.add_all([*_brought(a, entries, e.id), e])[-1:] == [e]
    said = f"added {e.id}: {line}" if new else f"{e.id} is there already: {line}"
    return {"added": [e.id] if new else [], "text": "\n".join([said, *warned])}


def _after(circuit: Circuit, state: JobState, typed: str) -> Readings:
    """What is typed, read after what the job holds; an error counts its lines from the first of them."""
    before = len(state.readings)
    try:
        return parse_readings(circuit, state.readings_text + typed)
    except InputError as e:
        raise InputError(tuple(replace(p, line=max(p.line - before, 0)) for p in e.problems)) from e


def _typed_in(a: Ask, name: str) -> Json:
    """Every line of a readings file, as from a pencil sheet: all of them, or none where one is wrong."""
    entries = known(a.log, a.name)
    state, base = rebuild(entries), a.entry_id or uuid.uuid4().hex[:12]
    raw = a.read(name)
    if state.sheet is not None:
        _after(load(state.sheet).circuit, state, raw)
    lines = [x.strip() for x in raw.splitlines() if x.split("#", 1)[0].strip()]
    made = [a.entry("reading", {"text": x}, f"{base}.{n}") for n, x in enumerate(lines)]
    added = a.log.add_all([*_brought(a, entries, base), *made])
    return {"added": [e.id for e in added], "text": f"{len(added)} readings of {name} added"}


def _brought(a: Ask, entries: Sequence[Entry], base: str) -> list[Entry]:
    """The instruments of somebody who enters a first reading in a job that another began."""
    if not a.by or OWN_LINE.match(a.words) or any(e.by == a.by and e.kind == "reading" for e in entries):
        return []
    mine = shop.own_lines(a.log, a.by)
    return [a.entry("reading", {"text": x}, f"{base}.tool{n}") for n, x in enumerate(mine)]


def _target(a: Ask, entries: Sequence[Entry]) -> str:
    """The id to take back: as typed or begun, else the last reading that counts."""
    if a.text:
        hits = [e.id for e in entries if e.id.startswith(a.text[0])]
        exact = a.text[0] in hits
        return hits[0] if len(hits) == 1 and not exact else a.text[0]
    readings = [e.id for e in alive(entries) if e.kind == "reading"]
    if not readings:
        raise one("nothing-to-undo", f"job {a.name} has no reading to take back",
                  remedy=f"name the entry: amptrail job undo {typed(a.name)} ID")  # fmt: skip
    return readings[-1]


def _undo(a: Ask) -> Json:
    return {"added": a.added(a.entry("undo", {"entry": _target(a, known(a.log, a.name))}))}


def _sheet(a: Ask) -> Json:
    """Another version of the drawing; with `--base`, only if nobody else has changed it since."""
    if not a.text:
        raise one("usage", "which sheet file?", remedy=f"amptrail job sheet {typed(a.name)} SHEET")
    entries = known(a.log, a.name)
    text = a.read(a.text[0])
    circuit = load(text).circuit
    base, versions = a.more.get("base"), [e.id for e in alive(entries) if e.kind == "sheet"]
    if base and (not versions or versions[-1] != base):
        raise one("sheet-changed", f"the sheet of job {a.name} was changed meanwhile: its version is "
                  f"{versions[-1] if versions else 'gone'}, yours began from {base}",
                  remedy=f"put your change into it: amptrail job show {typed(a.name)}")  # fmt: skip
    parse_readings(circuit, rebuild(entries).readings_text)  # what was read must still have its points
    return {"added": a.added(a.entry("sheet", {"text": text, "file": a.text[0]}))}


def _show(a: Ask) -> Json:
    known(a.log, a.name)
    return {}


ACTIONS: dict[str, Callable[[Ask], Json]] = {
    "new": _new, "add": _add, "undo": _undo, "sheet": _sheet, "show": _show, "fit": _fit, "remove": _remove,
    "ask": _ask,
    "close": _close, "again": again, "attach": jobfiles.attach, "fetch": jobfiles.fetch,
    "export": jobfiles.export, "import": jobfiles.take_in,
    **{name: partial(_tell, action=name) for name in casework.ACTIONS},
}  # fmt: skip
# these speak of no one job
SHOP: dict[str, Callable[[Ask], Json]] = {
    "search": shop.find, "people": shop.people, "backup": jobfiles.backup, "restore": jobfiles.restore,
}  # fmt: skip

NAMELESS = {
    "search": ("words to look for", '"lift pump"'), "backup": ("a file", "backup.sqlite"),
    "restore": ("a file", "backup.sqlite"),
}  # fmt: skip


def _rows(entries: Sequence[Entry]) -> list[Json]:
    gone = undone(entries)
    return [
        {"id": e.id, "kind": e.kind, "at": e.at, "by": e.by, "data": dict(e.data), "undone": e.id in gone}
        for e in entries
    ]


def _state(s: JobState) -> Json:
    return {
        "complaint": s.complaint,
        "sheet": s.sheet,
        "readings": [{"id": i, "line": line} for i, line in s.readings],
        "conclusion": s.conclusion,
        "cause": s.cause,
        "left": list(s.left),
        "times": list(s.times),
        "closed": s.closed,
        "feeds": list(s.feeds),
        "repairs": list(s.repairs),
        "files": list(s.files),
        "parts": list(s.parts),
        "notes": list(s.notes),
        "recordings": [{k: v for k, v in r.items() if k != "svg"} for r in s.recordings],
        "facts": s.facts,
    }


def run(action: str, name: str | None, text: Sequence[str], read: ReadFile, entry_id: str | None = None,
        complaint: str | None = None, more: Mapping[str, Any] | None = None, by: str | None = None,
        disk: Disk | None = None) -> Json:  # fmt: skip
    """Do one thing to a job and say how it stands (docs/json.md, job)."""
    empty: Json = {"action": action, "job": None, "added": [], "jobs": [], "entries": [], "state": None}
    with opened() as log:
        if action == "list":
            names = log.jobs()
            return answer("job", None, {**empty, "jobs": names, "text": listing(log)})
        if not name and action != "people":
            what = NAMELESS.get(action, ("the name of a job", "NAME"))
            raise one("usage", f"job {action} needs {what[0]}", remedy=f"amptrail job {action} {what[1]}")
        ask = Ask(log, name or "", text, read, entry_id, complaint, more or {}, whose(by), disk)
        if action in SHOP:
            return answer("job", None, {**empty, **SHOP[action](ask)})
        did = ACTIONS[action](ask)
        job = str(did.get("job", name))
        entries = log.entries(job)
        state = rebuild(entries)
        # one line for one reading: the whole job is what `job show` is for
        body = {**empty, "job": job, "entries": _rows(entries), "text": standing(job, state, entries), **did}
        return answer("job", None, {**body, "state": _state(state)})
