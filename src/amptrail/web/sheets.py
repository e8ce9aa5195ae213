"""The sheet of a job: begun from a template or typed, put right later when the vehicle is not as drawn."""

from __future__ import annotations

import re
from typing import Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from amptrail.errors import InputError, one
from amptrail.jobs import starters
from amptrail.web import routes, store
from amptrail.web.guard import FORM_KEY

router = APIRouter(include_in_schema=False)
TITLE = re.compile(r"\s*vehicle\s+\"([^\"]*)\"")
LEADS = {"read": "/circuit", "bridge": "/feed", "flat": "/night"}  # where a door goes once there is a job


def _page(request: Request, status: int = 200, **more: Any) -> HTMLResponse:
    told = {"sheet": "", "chosen": "", "door": "part", "name": "", "complaint": "", "problems": (), **more}
    return routes.show(request, "new.html", status, templates=starters.templates(), **told)


@router.get("/new", response_class=HTMLResponse)
async def new(request: Request, template: str = "", door: str = "part") -> HTMLResponse:
    """Start a circuit: choose a template, or type the sheet."""
    sheet = starters.template(template).sheet if template else ""
    return _page(request, sheet=sheet, chosen=template, door=door)


def _of_vehicle(sheet: str, vehicle: str, template: str) -> str:
    """The sheet with the vehicle that was told. A template's own title names none: no paper shall say so."""
    told = " ".join(vehicle.replace('"', "'").split())
    own = starters.template(template).title if template else None
    kept = [x for x in sheet.split("\n") if not (m := TITLE.match(x)) or not (told or m[1] == own)]
    return "\n".join([*([f'vehicle "{told}"'] if told else []), *kept])


@router.post("/new")
async def begin(
    request: Request,
    name: str = Form(""),
    sheet: str = Form(""),
    template: str = Form(""),
    complaint: str = Form(""),
    vehicle: str = Form("", max_length=120),
    door: str = Form("part"),
    key: str = Form("", alias=FORM_KEY),
) -> Response:
    """Make the job and go to where the door leads. A job that is there keeps its sheet."""
    routes.checked(request, key)
    text = sheet.strip() or (starters.template(template).sheet if template else "")
    text = _of_vehicle(text, vehicle, template)
    taken = await store.jobs()
    called = name.strip() or store.free_name(template or "job", taken)
    try:
        if called in taken:
            raise one(
                "job-exists", f"there is a job {called} already",
                remedy="choose another name, or open that job: its sheet is changed on its circuit page",
            )  # fmt: skip
        await request.app.state.workers.ask("check", sheet=text)
        await store.begin(called, text, complaint)
    except InputError as e:
        return _page(
            request, 422, sheet=text, chosen=template, door=door, name=name, complaint=complaint,
            vehicle=vehicle, problems=e.problems,
        )  # fmt: skip
    return RedirectResponse(f"/job/{called}{LEADS.get(door, '')}", 303)


@router.post("/fields", response_class=HTMLResponse)
async def fields(
    request: Request, sheet: str = Form(""), key: str = Form("", alias=FORM_KEY)
) -> HTMLResponse:
    """The fields of a sheet as a piece of a page; of one that cannot be read, why there are none."""
    routes.checked(request, key)
    told: dict[str, Any] = {"parts": (), "runs": (), "problems": ()}
    try:
        told |= await request.app.state.workers.ask("fields", sheet=sheet)
    except InputError as e:
        told["problems"] = e.problems
    return routes.show(request, "fields.html", **told)


@router.get("/job/{name}/sheet", response_class=HTMLResponse)
async def sheet(request: Request, name: str, template: str = "") -> HTMLResponse:
    """The sheet as it stands, to be put right."""
    found = await store.read(name)
    text = starters.template(template).sheet if template else found.state.sheet or ""
    return _page(request, job=name, sheet=text, chosen=template, base=store.version(found))


@router.post("/job/{name}/sheet")
async def change(
    request: Request, name: str, sheet: str = Form(""), base: str = Form(""),
    key: str = Form("", alias=FORM_KEY),
) -> Response:  # fmt: skip
    """Keep the sheet when it is sound and every reading of the job still has its place in it."""
    routes.checked(request, key)
    try:
        await request.app.state.workers.ask("check", sheet=sheet)
        await store.change(name, sheet, base)
    except InputError as e:
        return _page(request, 422, job=name, sheet=sheet, base=base, problems=e.problems)
    await request.app.state.hub.tell(name, -1)
    return RedirectResponse(f"/job/{name}/circuit", 303)
