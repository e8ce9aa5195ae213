"""A whole job as one JSON text, out and in."""

from __future__ import annotations

import json

from amptrail.store.entries import Entry, refuse
from amptrail.store.log import Log

FORMAT = "amptrail-job"
VERSION = 1


def export_job(log: Log, job: str) -> str:
    """The job's log as JSON text; StoreError when there is no such job."""
    found = log.entries(job)
    if not found:
        raise refuse("no-such-job", f"no job is called {job}", "list the jobs first")
    rows = [{"id": e.id, "kind": e.kind, "at": e.at, "data": dict(e.data)} for e in found]
    return json.dumps({FORMAT: VERSION, "job": job, "entries": rows}, ensure_ascii=False, indent=1) + "\n"


def read_job(text: str, name: str | None = None) -> list[Entry]:
    """The entries of an exported job, under its own name or under `name`."""
    try:
        got = json.loads(text)
        if not isinstance(got, dict) or got.get(FORMAT) != VERSION:
            raise ValueError(f'it does not begin with {{"{FORMAT}": {VERSION}')
        job = name or got["job"]
        return [Entry(job, r["id"], r["kind"], r["at"], r["data"]) for r in got["entries"]]
    except (ValueError, KeyError, TypeError, RecursionError) as e:
        raise refuse("not-a-job", f"this is no exported job: {e}", "export it again") from e


def import_job(log: Log, text: str, name: str | None = None) -> tuple[str, int]:
    """Add an exported job, all of it or nothing; returns its name and how many entries were new."""
    entries = read_job(text, name)
    if not entries:
        raise refuse("not-a-job", "the exported job is empty", "export it again")
    return entries[0].job, len(log.add_all(entries))
