"""The circuit screen: the drawing with what each point reads in the chosen phase, with the chosen instrument,
supposed fault and feed; a trail by fading all else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from amptrail.jobs import starters
from amptrail.jobs.feeding import fitting
from amptrail.jobs.log.cases import Case
from amptrail.web import routes, store, views

Json = dict[str, Any]
router = APIRouter(include_in_schema=False)
INSTRUMENTS = (("lamp", "test lamp"), ("meter", "meter"), ("loaded", "loaded lead"), ("clamp", "clamp"))
MOST_FAULTS = 200


@dataclass(frozen=True)
class Choice:
    """What is to be shown; each may be empty."""

    phase: str = ""
    instrument: str = "meter"
    fault: str = ""
    feed: str = ""
    trail: str = ""
    point: str = ""

    def kept(self, *but: str) -> list[tuple[str, str]]:
        """What a form that changes one choice carries on of the others."""
        every = ("phase", "instrument", "fault", "feed", "trail")
        return [(k, getattr(self, k)) for k in every if k not in but and getattr(self, k)]


def chosen(
    phase: str = "",
    instrument: str = "meter",
    fault: str = "",
    feed: str = "",
    trail: str = "",
    point: str = "",
) -> Choice:
    """From the address."""
    return Choice(phase, instrument, fault, feed.strip(), trail, point)


Chosen = Annotated[Choice, Depends(chosen)]


@router.get("/read/{template}", response_class=HTMLResponse)
async def read_template(request: Request, template: str, asked: Chosen) -> HTMLResponse:
    """What should I read here: a template with nothing filled in, in three taps."""
    return await _circuit(request, starters.template(template).sheet, f"/read/{template}", asked)


@router.get("/job/{name}/circuit", response_class=HTMLResponse)
async def circuit(request: Request, name: str, asked: Chosen) -> HTMLResponse:
    """The drawing of a job's circuit, with what its leading suspects would make each point read."""
    found = await store.read(name)
    sheet, readings = found.texts()
    weighed = await request.app.state.workers.ask(
        "suspects", sheet=sheet, readings=readings, own=await store.tools(found),
        history=await store.learned(name),
    )  # fmt: skip
    return await _circuit(
        request, fitting.as_left(found), f"/job/{name}/circuit", asked, found, views.leading(weighed)
    )


async def _circuit(
    request: Request, sheet: str, here: str, asked: Choice, found: Case | None = None,
    leading: list[Json] | None = None,
) -> HTMLResponse:  # fmt: skip
    ask = request.app.state.workers.ask
    known = await ask("check", sheet=sheet)
    phases = [p["name"] for p in known["phases"]]
    at = asked.phase if asked.phase in phases else next((n for n in phases if "asleep" not in n), phases[0])
    asked = Choice(at, asked.instrument, asked.fault, asked.feed, asked.trail, asked.point)
    faults = tuple(asked.fault.split("&")) if asked.fault else ()
    same: Json = {"own": await store.tools(found), "feed": asked.feed or None}
    drawn = await ask(
        "draw", sheet=sheet, phase=at, instrument=asked.instrument, fault=faults, trail=asked.trail or None,
        **same,
    )  # fmt: skip
    listed = [p["name"] for p in known["points"]]
    parts = [p["name"] for p in known["parts"]]
    shown = (p["point"] for p in drawn["points"])
    named = {views.written(p, parts): p for p in (*listed, *shown)}
    want: Json = {
        "sheet": sheet, "phases": (at,), "instruments": (asked.instrument,), "cycles": 2, "at": tuple(named),
        **same,
    }  # fmt: skip
    got = await ask("expect", fault=faults, nominal=False, **want)
    others = [f for f in leading or () if f["text"] != asked.fault]
    beside = [await ask("expect", fault=(f["text"],), nominal=True, **want) for f in others]
    here_now = got["runs"][0]["phases"][0]["readings"]
    rows = views.readings(here_now, at, [b["runs"][0]["phases"][0]["readings"] for b in beside], named)
    return routes.show(
        request, "circuit.html", svg=routes.with_nonce(drawn["svg"], request.state.nonce), readings=rows,
        listed=listed, compared=[f["words"] for f in others], leading=leading or [], phases=phases,
        leading_texts=[f["text"] for f in leading or ()], asked=asked, instruments=INSTRUMENTS,
        units=views.units(asked.instrument), times=views.times(asked.instrument), here=here,
        job=found.name if found else None,
        own=same["own"].words(asked.instrument), entries=store.count(found) if found else 0,
        title=known.get("title") or "", faults=[f["text"] for f in known["faults"]][:MOST_FAULTS],
        feeds=_feeds(known, fitting.in_place(found) if found else ()),
    )  # fmt: skip


def _feeds(known: Json, fitted: tuple[str, ...]) -> dict[str, str]:
    """Feeds by name with a word of each: those in the vehicle first, then what else the sheet declares."""
    drawn = {f["name"]: f["text"] or "on the sheet" for f in known["feeds"]}
    return dict.fromkeys(fitted, "in the vehicle") | {n: w for n, w in drawn.items() if n not in fitted}
