"""`job`: a case kept in the log; everything the command line does to a job goes through here."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import Any

from amptrail.errors import InputError, nearest, one
from amptrail.jobs import casework
from amptrail.jobs.context import Json, answer, load
from amptrail.sheet import parse_readings
from amptrail.store import Entry, JobState, Log, alive, export_job, import_job, rebuild, undone

ReadFile = Callable[[str], str]


@contextmanager
def opened() -> Iterator[Log]:
    """The user's log."""
    from amptrail.store.sql import open_log  # the database is imported only when a job is used

    with open_log() as log:
        yield log


@dataclass(frozen=True, slots=True)
class Case:
    """A job as the other use cases need it."""

    name: str
    state: JobState

    def texts(self) -> tuple[str, str]:
        """Sheet and readings text; InputError when the job has no sheet yet."""
        if self.state.sheet is None:
            raise one(
                "no-sheet", f"job {self.name} has no sheet yet", remedy=f"job new {self.name} SHEET adds one"
            )
        return self.state.sheet, self.state.readings_text


def _unknown(name: str, names: Sequence[str] = ()) -> InputError:
    return one("no-such-job", f"no file and no job is called {name}", expected=tuple(names[-20:]),
               nearest=nearest(name, names), remedy="list the jobs: amptrail job list")  # fmt: skip


def _known(log: Log, name: str) -> list[Entry]:
    found = log.entries(name)
    if not found:
        raise _unknown(name, log.jobs())
    return found


def case(name: str) -> Case:
    """The job of that name, rebuilt from its log."""
    from amptrail.store.engines import exists, named

    if not exists(named()):  # looking for a job makes no log
        raise _unknown(name)
    with opened() as log:
        return Case(name, rebuild(_known(log, name)))


def known_case(name: str) -> Case | None:
    """The job of that name, or None; makes no log where there is none."""
    from amptrail.store.engines import exists, named

    if not exists(named()):
        return None
    with opened() as log:
        found = log.entries(name)
    return Case(name, rebuild(found)) if found else None


def of_texts(
    name: str, sheet: str, readings: str, complaint: str | None = None, done: str | None = None
) -> Case:
    """A sheet and its readings as a case that is in no log."""
    lines = tuple((str(n), line) for n, line in enumerate(readings.splitlines(), 1))
    repairs = ({"text": done},) if done else ()
    return Case(name, JobState(complaint=complaint, sheet=sheet, readings=lines, repairs=repairs))


def _entry(name: str, kind: str, data: dict[str, Any], entry_id: str | None = None) -> Entry:
    return Entry(name, entry_id or uuid.uuid4().hex[:12], kind, datetime.now(UTC).isoformat(), data)


@dataclass(frozen=True, slots=True)
class Ask:
    """What one call of `job` wants."""

    log: Log
    name: str
    text: Sequence[str]
    read: ReadFile
    entry_id: str | None
    complaint: str | None
    more: Mapping[str, Any]


def _tell(a: Ask, action: str) -> Json:
    """Conclusion, repair, what is left, minutes, facts: checked, then added."""
    kind, data = casework.ACTIONS[action](
        casework.Said(" ".join(a.text).strip(), a.more), rebuild(_known(a.log, a.name))
    )
    e = _entry(a.name, kind, {k: v for k, v in data.items() if v is not None}, a.entry_id)
    return {"added": [e.id] if a.log.add(e) else []}


def _fit(a: Ask) -> Json:
    """A temporary feed that was judged and fitted."""
    from amptrail.jobs.fitting import fitted

    state = rebuild(_known(a.log, a.name))
    e = _entry(a.name, "feed", fitted(Case(a.name, state), " ".join(a.text).strip(), a.more), a.entry_id)
    return {"added": [e.id] if a.log.add(e) else []}


def _close(a: Ask) -> Json:
    """The job is done: the sheet as it was left, every feed in it, is kept with it."""
    from amptrail.jobs.fitting import as_left

    state = rebuild(_known(a.log, a.name))
    data = {"sheet": as_left(Case(a.name, state)) if state.sheet else None}
    e = _entry(a.name, "close", {k: v for k, v in data.items() if v is not None}, a.entry_id)
    return {"added": [e.id] if a.log.add(e) else []}


def _new(a: Ask) -> Json:
    wanted = []
    base = a.entry_id or uuid.uuid4().hex[:12]
    if a.complaint:
        wanted.append(_entry(a.name, "intake", {"text": a.complaint}, f"{base}.intake"))
    if a.text:
        sheet = a.read(a.text[0])
        load(sheet)  # a sheet that cannot be read is said now, not at the vehicle
        wanted.append(_entry(a.name, "sheet", {"text": sheet, "file": a.text[0]}, f"{base}.sheet"))
    if not wanted:
        raise one(
            "usage", "a new job needs a sheet file or a complaint", remedy="amptrail job new NAME SHEET"
        )
    added = a.log.add_all(wanted)
    return {"added": [e.id for e in added]}


def _add(a: Ask) -> Json:
    line = " ".join(a.text).strip()
    if not line:
        raise one(
            "usage", "there is no line to add", remedy='amptrail job add NAME "K4.87 in running meter 12.4"'
        )
    state = rebuild(_known(a.log, a.name))
    warned: list[str] = []
    number = len(state.readings) + 1
    if state.sheet is not None:
        told = parse_readings(load(state.sheet).circuit, state.readings_text + line + "\n")
        warned = [f"note: {w.message}\n  do this: {w.remedy}" for w in told.warnings if w.line == number]
    e = _entry(a.name, "reading", {"text": line}, a.entry_id)
    new = a.log.add(e)
    said = f"added {e.id}: {line}" if new else f"{e.id} is there already: {line}"
    return {"added": [e.id] if new else [], "text": "\n".join([said, *warned])}


def _target(a: Ask, entries: Sequence[Entry]) -> str:
    """The id to take back: as typed or begun, else the last reading that counts."""
    if a.text:
        hits = [e.id for e in entries if e.id.startswith(a.text[0])]
        exact = a.text[0] in hits
        return hits[0] if len(hits) == 1 and not exact else a.text[0]
    readings = [e.id for e in alive(entries) if e.kind == "reading"]
    if not readings:
        raise one("nothing-to-undo", f"job {a.name} has no reading to take back",
                  remedy=f"name the entry: amptrail job undo {a.name} ID")  # fmt: skip
    return readings[-1]


def _undo(a: Ask) -> Json:
    e = _entry(a.name, "undo", {"entry": _target(a, _known(a.log, a.name))}, a.entry_id)
    return {"added": [e.id] if a.log.add(e) else []}


def _import(a: Ask) -> Json:
    if not a.text:
        raise one("usage", "there is no file to import", remedy="amptrail job import NAME FILE.json")
    import_job(a.log, a.read(a.text[0]), a.name)
    return {}


def _show(a: Ask) -> Json:
    _known(a.log, a.name)
    return {}


ACTIONS: dict[str, Callable[[Ask], Json]] = {
    "new": _new, "add": _add, "undo": _undo, "import": _import, "show": _show, "export": _show, "fit": _fit,
    "close": _close, **{name: partial(_tell, action=name) for name in casework.ACTIONS},
}  # fmt: skip


def _rows(entries: Sequence[Entry]) -> list[Json]:
    gone = undone(entries)
    return [
        {"id": e.id, "kind": e.kind, "at": e.at, "data": dict(e.data), "undone": e.id in gone}
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
        "notes": list(s.notes),
        "facts": s.facts,
    }


def _words(name: str, s: JobState, entries: Sequence[Entry]) -> str:
    lines = [f"job {name}, {len(entries)} entries", f"complaint: {s.complaint or 'not said'}"]
    lines.append("sheet: " + ("kept in the job" if s.sheet else "none yet"))
    lines += [f"  {i:14} {line}" for i, line in s.readings] or ["  no readings yet"]
    lines += [f"note: {n}" for n in s.notes]
    lines += [f"proven: {s.conclusion}"] if s.conclusion else []
    lines += [f"cause: {s.cause}"] if s.cause else []
    lines += [f"fitted: {f.get('words', '')} ({f.get('verdict', '')})" for f in s.feeds]
    lines += [f"done: {r.get('text', '')}" for r in s.repairs]
    lines += [f"left undone: {x}" for x in s.left]
    lines += [f"time: {t['what']} {t['minutes']:g} min" for t in s.times]
    lines += ["closed"] if s.closed else []
    return "\n".join(lines)


def run(action: str, name: str | None, text: Sequence[str], read: ReadFile, entry_id: str | None = None,
        complaint: str | None = None, more: Mapping[str, Any] | None = None) -> Json:  # fmt: skip
    """Do one thing to a job and say how it stands (docs/json.md, job)."""
    with opened() as log:
        if action == "list":
            names = log.jobs()
            body: Json = {
                "action": action,
                "job": None,
                "added": [],
                "jobs": names,
                "entries": [],
                "state": None,
            }
            return answer("job", None, {**body, "text": "\n".join(names) or "no jobs yet"})
        if not name:
            raise one("usage", f"job {action} needs the name of a job", remedy=f"amptrail job {action} NAME")
        did = ACTIONS[action](Ask(log, name, text, read, entry_id, complaint, more or {}))
        entries = log.entries(name)
        state = rebuild(entries)
        # one line for one reading: the whole job is what `job show` is for
        standing = did.get("text") or _words(name, state, entries)
        shown = export_job(log, name) if action == "export" else standing
        body = {"action": action, "job": name, "added": [], "jobs": [], "entries": _rows(entries), **did}
        return answer("job", None, {**body, "state": _state(state), "text": shown})
