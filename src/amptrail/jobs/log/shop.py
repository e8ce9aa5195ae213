"""What concerns all jobs of a shop: looking for earlier ones, and who works here."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from amptrail.errors import nearest, one
from amptrail.jobs.base import joblog
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.joblog import Ask
from amptrail.sheet.readers import OWN_LINE
from amptrail.sheet.said import rounded
from amptrail.store import ROLES, Entry, Hit, Log, Person, alive, rebuild, search
from amptrail.store.people import Role
from amptrail.store.search import texts

JOBS_LOOKED_AT = 30  # back from the latest
MOST_WIDTH = 78
SHOWN_ENTRIES = 2
CLOCK_MIN = 2.0  # two machines of one shop are never quite together


def find(a: Ask) -> Json:
    """ "What was it last time on a lift pump?": jobs that speak of it, with what was proven."""
    question = " ".join((a.name, *a.text))
    hits = search(a.log, question)
    lines = [line for h in hits for line in _shown(a.log, h)]
    rows = [
        {"job": h.job, "words": list(h.words), "entries": [e.id for e in h.entries], **_outcome(a.log, h.job)}
        for h in hits
    ]
    return {"hits": rows, "text": "\n".join(lines) or "no job speaks of it"}


def _outcome(log: Log, job: str) -> Json:
    entries = log.entries(job)
    s = rebuild(entries)
    return {
        "date": entries[0].at[:10],
        "complaint": s.complaint,
        "conclusion": s.conclusion,
        "cause": s.cause,
    }


def _shown(log: Log, hit: Hit) -> list[str]:
    o = _outcome(log, hit.job)
    lines = [f"{hit.job}, {o['date']}: {o['complaint'] or 'no complaint said'}"]
    lines += [f"  proven: {rounded(o['conclusion'])}"] if o["conclusion"] else []
    lines += [f"  cause: {o['cause']}"] if o["cause"] else []
    told = {o["complaint"], o["conclusion"], o["cause"]}
    said = [t for e in hit.entries if e.kind != "sheet" for t in texts(e) if t not in told and len(t) > 3]
    lines += [f"  {' '.join(x.split())}" for x in said[:SHOWN_ENTRIES]]
    if hit.entries and all(e.kind == "sheet" for e in hit.entries):
        lines.append(f"  in the drawing: {', '.join(hit.words)}")
    return [x if len(x) <= MOST_WIDTH else x[: MOST_WIDTH - 1] + "…" for x in lines]


def people(a: Ask) -> Json:
    """Who works here; with a name and a role, somebody is listed or the role changed."""
    known = a.log.people()
    if a.name:
        role = a.words or "technician"
        if role not in ROLES:
            raise one("bad-role", f"no role is called {role}", expected=ROLES, nearest=nearest(role, ROLES),
                      remedy=f'amptrail job people "{a.name}" technician')  # fmt: skip
        _may_list(a, known, role)
        a.log.list_person(Person(a.name, _role(role), joblog.now().isoformat()))
        known = a.log.people()
    rows = [{"name": p.name, "role": p.role, "since": p.at} for p in known.values()]
    lines = [f"{p.name}: {p.role}, since {p.at[:10]}" for p in known.values()]
    nobody = "nobody is listed: whoever uses this log may enter everything"
    return {"people": rows, "text": "\n".join(lines) or nobody}


def _role(text: str) -> Role:
    return next(r for r in ("technician", "office", "read-only", "gone") if r == text)


def _may_list(a: Ask, known: dict[str, Person], role: str) -> None:
    """The first is listed by anybody and must be able to list others; then a technician lists people."""
    masters = [p.name for p in known.values() if p.role == "technician"]
    if not masters:
        if role != "technician":
            raise one("not-allowed", "the first to be listed is a technician, who lists the others",
                      remedy=f'amptrail job people "{a.name}" technician')  # fmt: skip
        return
    if a.by not in masters:
        raise one("not-allowed", f"{a.by or 'somebody unnamed'} may not list people", expected=tuple(masters),
                  remedy="say who you are: AMPTRAIL_BY=NAME, or --by NAME")  # fmt: skip
    if masters == [a.name] and role != "technician":
        raise one("not-allowed", f"{a.name} is the only technician: nobody could list people any more",
                  remedy="list another technician first")  # fmt: skip


def own_lines(log: Log, by: str) -> list[str]:
    """The readings lines in which this person last said what their own instruments are (`my clamp "…"`)."""
    for job in reversed(log.jobs()[-JOBS_LOOKED_AT:]):
        told = own_told(log.entries(job), by)
        if told:
            return list(told.values())
    return []


def own_told(entries: Sequence[Entry], by: str) -> dict[str, str]:
    """The line of each own instrument this person told in a job, by its kind."""
    return {
        m[1].lower(): str(e.data["text"])
        for e in alive(entries)
        if e.kind == "reading" and e.by == by and (m := OWN_LINE.match(str(e.data.get("text", ""))))
    }


def late(entries: list[Entry]) -> str | None:
    """A sentence when this machine's clock is behind what the job already holds; the order is kept anyway."""
    if not entries:
        return None
    behind = (datetime.fromisoformat(entries[-1].at) - joblog.now()).total_seconds() / 60.0
    if behind < CLOCK_MIN:
        return None
    return (f"note: the clock here is {behind:.0f} min behind the last entry of the job\n"
            "  do this: set it; the order of entries is kept, minutes across it are not counted")  # fmt: skip
