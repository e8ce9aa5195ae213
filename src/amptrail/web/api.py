"""The same use cases as JSON, with types. `GET /api/docs` is for people, `/api/openapi.json` for programs."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from amptrail.web import store

Json = dict[str, Any]


class ProblemRow(BaseModel):
    """One thing wrong with what was sent, and what to do. Line and column count from 1; 0: no place."""

    code: str
    message: str
    line: int
    column: int
    expected: list[str]
    nearest: str | None
    remedy: str


class Problems(BaseModel):
    """Why nothing was done."""

    problems: list[ProblemRow]


class Refused(BaseModel):
    """Why the call was not looked at."""

    detail: str


router = APIRouter(
    prefix="/api",
    tags=["amptrail"],
    responses={
        400: {"model": Refused, "description": "the body is no JSON"},
        401: {"model": Refused, "description": "this device is not paired"},
        403: {"model": Refused, "description": "this came from another site"},
        404: {"model": Problems},
        411: {"model": Refused, "description": "the size of the body is not said"},
        413: {"model": Refused, "description": "the body is too large"},
        422: {"model": Problems},
    },
)
MOST = 2_000_000
Sheet = Field(
    max_length=MOST, description="The sheet's text.", examples=["battery BAT 12 V\npath BAT.- -- body"]
)
Name = Field(max_length=61, description="The job's name.")


class SheetText(BaseModel):
    """A sheet."""

    sheet: str = Sheet


class Filled(SheetText):
    """One field of a part as typed; empty: nobody knows."""

    part: str = Field(max_length=200)
    attribute: str = Field(max_length=60)
    typed: str = Field(default="", max_length=400)


class Expected(SheetText):
    """What should be read: phases, points and instruments (all when empty), faults supposed."""

    phases: list[str] = Field(default=[], max_length=50)
    at: list[str] = Field(default=[], max_length=5000)
    instruments: list[str] = Field(default=[], max_length=12)
    fault: list[str] = Field(default=[], max_length=4)
    cycles: int = Field(default=1, ge=1, le=10)
    nominal: bool = False


class Read(SheetText):
    """A sheet and what was read on the vehicle."""

    readings: str = Field(default="", max_length=MOST)


class Planned(Read):
    """Where the person stands and what cannot be done today."""

    place: str | None = None
    cannot: list[str] = Field(default=[], max_length=500)
    without: list[str] = Field(default=[], max_length=12)
    helper: bool = True


class Judged(SheetText):
    """Feeds to judge."""

    feeds: list[str] = Field(default=[], max_length=60)
    purpose: str = "leave"
    against: list[str] = Field(default=[], max_length=4)
    nominal: bool = False


class Called(Read):
    """Who answers on the phone, how many questions, and those nobody knew the answer to."""

    who: Literal["customer", "shop", "mine"] = "customer"
    top: int = Field(default=10, ge=1, le=50)
    unknown: tuple[str, ...] = Field(default=(), max_length=100)


class Condemned(Read):
    """The part that would be called dead; none: what leads."""

    part: str | None = Field(default=None, max_length=200)


class Drained(Read):
    """The battery at rest and the temperature."""

    battery_ah: float | None = Field(default=None, ge=1, le=2000)
    volts: float | None = Field(default=None, ge=5, le=32)
    celsius: float | None = Field(default=None, ge=-40, le=60)


class Entry(BaseModel):
    """One entry for a job's log; `id` is made by the device, so that sending it twice adds it once. `line`: a
    reading (with its conditions, on lines of its own), the fault that the repair has proven (on a second
    line what was done to it), or the id of the entry to take back (empty: the last reading)."""

    id: str = Field(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9_.-]+$")
    kind: Literal["reading", "proven", "undo"] = "reading"
    line: str = Field(max_length=2000)


class Entries(BaseModel):
    """Readings in the order they were taken."""

    entries: list[Entry] = Field(max_length=500)


async def _ask(request: Request, name: str, **asked: Any) -> Json:
    tuples = {k: tuple(v) if isinstance(v, list) else v for k, v in asked.items()}
    return dict(await request.app.state.workers.ask(name, **tuples))


@router.post("/check")
async def check(request: Request, body: SheetText) -> Json:
    """Is the sheet sound, and every name in it."""
    return await _ask(request, "check", **body.model_dump())


@router.post("/fields")
async def fields(request: Request, body: SheetText) -> Json:
    """What each part of the sheet could be told, with units and what is assumed."""
    return await _ask(request, "fields", **body.model_dump())


@router.post("/fill")
async def fill(request: Request, body: Filled) -> Json:
    """The sheet with one field of a part filled in, all else as it was."""
    return await _ask(request, "fill", **body.model_dump())


@router.post("/expect")
async def expect(request: Request, body: Expected) -> Json:
    """What every point should read."""
    return await _ask(request, "expect", **body.model_dump())


@router.post("/suspects")
async def suspects(request: Request, body: Read) -> Json:
    """What still fits."""
    return await _ask(request, "suspects", **body.model_dump())


@router.post("/next")
async def next_test(request: Request, body: Planned) -> Json:
    """The visits worth their minutes."""
    return await _ask(request, "next", **body.model_dump())


@router.post("/intake")
async def intake(request: Request, body: Called) -> Json:
    """What to ask on the phone, the question that tells most first."""
    return await _ask(request, "intake", **body.model_dump())


@router.post("/condemn")
async def condemn(request: Request, body: Condemned) -> Json:
    """Before a part is called dead: what is shown, what is missing."""
    return await _ask(request, "condemn", **body.model_dump())


@router.post("/drain")
async def drain(request: Request, body: Drained) -> Json:
    """Flat by morning: the fuse box at rest, what is awake, hours left."""
    return await _ask(request, "drain", **body.model_dump())


@router.post("/feed")
async def feed(request: Request, body: Judged) -> Json:
    """Temporary feeds, judged."""
    return await _ask(request, "feed", **body.model_dump())


@router.post("/draw")
async def draw(request: Request, body: SheetText) -> Json:
    """The circuit as a picture (SVG)."""
    return await _ask(request, "draw", **body.model_dump())


@router.get("/jobs")
async def jobs() -> Json:
    """Names of the jobs."""
    return {"jobs": await store.jobs()}


@router.get("/jobs/{name}")
async def job(name: str) -> Json:
    """How a job stands."""
    found = await store.read(store.proper(name))
    by = store.entered_by(found)
    return {
        "job": name,
        "complaint": found.state.complaint,
        "readings": [{"id": i, "line": line, "by": by.get(i, "")} for i, line in found.state.readings],
    }


async def _enter(name: str, e: Entry) -> None:
    match e.kind:
        case "reading":
            await store.add(name, e.line, e.id)
        case "proven":
            await store.conclude(name, e.line, entry=e.id)
        case "undo":
            await store.undo(name, e.line, e.id)


@router.post("/jobs/{name}/entries")
async def add(request: Request, name: str, body: Entries) -> Json:
    """Add readings, each once, in order. What is not accepted is told, and the rest goes on."""
    from amptrail.errors import InputError

    store.proper(name)
    added: list[str] = []
    refused: list[Json] = []
    for e in body.entries:
        try:
            await _enter(name, e)
            added.append(e.id)
        except InputError as x:
            first = x.problems[0] if x.problems else None
            told = first.message.removeprefix("readings: ") if first else str(x)
            refused.append({"id": e.id, "message": told,
                            "nearest": first.nearest if first else None,
                            "remedy": first.remedy if first else ""})  # fmt: skip
    entries = store.count(await store.read(name))
    await request.app.state.hub.tell(name, entries)
    return {"added": added, "refused": refused, "entries": entries}
