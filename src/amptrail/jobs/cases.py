"""`job`: a case kept in the log. Whatever the command line does to a job goes through here."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence

from amptrail.errors import nearest, one
from amptrail.jobs.context import Json, answer, load
from amptrail.sheet import parse_readings
from amptrail.store import Case, Entry, Log, SqliteLog, default_path, rebuild


def log() -> Log:
    """The store of this user."""
    return SqliteLog(default_path())


def case(name: str, store: Log | None = None) -> Case:
    """A job as it stands; InputError for an unknown one."""
    kept = store or log()
    found = kept.entries(name)
    if not found:
        known = kept.jobs()
        raise one("no-such-job", f"there is no file and no job called {name}", expected=known[:8],
                  nearest=nearest(name, known), remedy="name a sheet file, or start one: amptrail job new NAME SHEET")  # fmt: skip
    return rebuild(name, found)


def _shown(store: Log, name: str) -> Json:
    c = case(name, store)
    rows = [{"id": e.id, "kind": e.kind, "data": e.data, "at": e.at, "undone": e.id in c.undone}
            for e in store.entries(name)]  # fmt: skip
    lines = [f"job {name}", f"complaint: {c.complaint or '-'}"]
    lines += [f"  {e.id[:8]}  {e.data['line']}" for e in c.readings]
    return answer("job", None, {"job": name, "entries": rows, "complaint": c.complaint, "text": "\n".join(lines)})


def _new(store: Log, name: str, sheet: str, complaint: str | None, entry: str | None) -> Json:
    load(sheet)
    base = entry or uuid.uuid4().hex
    store.append(Entry(f"{base}-intake", name, "intake", {"text": complaint or ""}, ""))
    store.append(Entry(f"{base}-sheet", name, "sheet", {"text": sheet}, ""))
    return _shown(store, name)


def _add(store: Log, name: str, line: str, entry: str | None) -> Json:
    c = case(name, store)
    parse_readings(load(c.sheet).circuit, c.texts()[1] + line + "\n")
    store.append(Entry(entry or uuid.uuid4().hex, name, "reading", {"line": line}, ""))
    return _shown(store, name)


def _undo(store: Log, name: str, target: str | None, entry: str | None) -> Json:
    readings = case(name, store).readings
    if target is None and not readings:
        raise one("nothing-to-undo", f"job {name} has no reading to take back")
    hits = [e.id for e in store.entries(name) if target and e.id.startswith(target)]
    chosen = readings[-1].id if target is None else hits[0] if len(hits) == 1 else target
    store.append(Entry(entry or uuid.uuid4().hex, name, "undo", {"id": chosen}, ""))
    return _shown(store, name)


def run(
    action: str, name: str | None, text: Sequence[str], read: Callable[[str], str], entry: str | None,
    complaint: str | None,
) -> Json:  # fmt: skip
    """One action on a job; `text` as typed after its name, `read` gets the text of a file."""
    store = log()
    if action == "list":
        known = store.jobs()
        return answer("job", None, {"jobs": list(known), "text": "\n".join(known) or "no jobs yet"})
    if not name:
        raise one("usage", f"job {action} needs the name of a job", remedy="amptrail job show NAME")
    if action == "new":
        if len(text) != 1:
            raise one("usage", "job new needs a sheet file", remedy="amptrail job new NAME SHEET")
        return _new(store, name, read(text[0]), complaint, entry)
    if action == "add":
        if not text:
            raise one("usage", "job add needs a readings line", remedy="amptrail job add NAME BAT.+ in ignition-on meter 12.4 V")
        return _add(store, name, " ".join(text), entry)
    if action == "undo":
        return _undo(store, name, text[0] if text else None, entry)
    return _shown(store, name)
