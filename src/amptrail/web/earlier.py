"""Earlier jobs: found by plate, name, complaint or part; and a vehicle that is back, beside its old job."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from amptrail.errors import InputError
from amptrail.jobs.log.cases import Case, case, run
from amptrail.sheet.said import plain
from amptrail.web import routes, store
from amptrail.web.guard import FORM_KEY

Json = dict[str, Any]
router = APIRouter(include_in_schema=False)
LONGEST = 200  # letters of a question


@dataclass(frozen=True)
class Earlier:
    """A job as it is remembered."""

    name: str
    date: str
    vehicle: str
    complaint: str
    proven: str
    cause: str
    left: tuple[str, ...]
    closed: bool


def remembered(found: Case) -> Earlier:
    """What the next person wants to know of a job."""
    s = found.state
    return Earlier(
        found.name, found.entries[0].at[:10] if found.entries else "", store.vehicle(found),
        s.complaint or "", plain(s.conclusion or ""), s.cause or "", s.left, s.closed,
    )  # fmt: skip


def _found(question: str) -> list[Earlier]:
    got = run("search", question, (), store.no_files)
    return [remembered(case(h["job"])) for h in got["hits"]]


@router.get("/find", response_class=HTMLResponse)
async def find(request: Request, q: Annotated[str, Query(max_length=LONGEST)] = "") -> HTMLResponse:
    """Jobs that speak of it, those that say most of the words first."""
    rows: list[Earlier] = []
    problems: tuple[Any, ...] = ()
    if q.strip():
        try:
            rows = await asyncio.to_thread(_found, q.strip())
        except InputError as e:
            problems = e.problems
    asked = bool(q.strip()) and not problems
    return routes.show(request, "find.html", q=q, rows=rows, asked=asked, problems=problems)


@router.get("/job/{name}/again", response_class=HTMLResponse)
async def back(request: Request, name: str) -> HTMLResponse:
    """The vehicle is back: what the new job shall be called, and what is complained of now."""
    found = await store.read(name)
    new = store.next_name(found, await store.jobs())
    return routes.show(request, "again.html", old=remembered(found), name=name, new=new, problems=())


@router.post("/job/{name}/again")
async def again(
    request: Request, name: str, new: str = Form("", max_length=60),
    complaint: str = Form("", max_length=2000), key: str = Form("", alias=FORM_KEY),
) -> Response:  # fmt: skip
    """A new job on the sheet as it was left, what was repaired then under suspicion."""
    routes.checked(request, key)
    found = await store.read(name)
    called = new.strip() or store.next_name(found, await store.jobs())
    try:
        await store.told("again", name, store.proper(called), complaint=complaint.strip() or None)
    except InputError as e:
        return routes.show(
            request, "again.html", 422, old=remembered(found), name=name, new=called,
            complaint=complaint, problems=e.problems,
        )  # fmt: skip
    return RedirectResponse(f"/job/{called}", 303)
