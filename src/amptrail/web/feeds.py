"""The feed screen: what must work again, ranked feeds with verdicts, and which of them is in the vehicle."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from amptrail.errors import InputError
from amptrail.jobs.feeding import fitting
from amptrail.sheet.said import plain
from amptrail.web import routes, store, views
from amptrail.web.guard import FORM_KEY

router = APIRouter(include_in_schema=False)


@router.get("/job/{name}/feed", response_class=HTMLResponse)
async def feed(
    request: Request, name: str, text: str = "", purpose: str = "home", restore: str = ""
) -> HTMLResponse:
    """May I bridge this: a feed judged, or feeds found for what must work again."""
    workers = request.app.state.workers
    found = await store.read(name)
    sheet, _ = found.texts()
    known = await workers.ask("check", sheet=sheet)
    proven = found.state.conclusion or ""
    rows: list[dict[str, Any]] = []
    if text:
        asked: dict[str, Any] = {"feeds": (text,)}
    elif restore:
        asked = {"restore": (restore,)}
    else:
        asked = {}
    if asked:  # with every feed that is in the vehicle already
        asked |= {"purpose": purpose, "fitted": fitting.in_place(found), **fitting.broken_by(found)}
        rows = (await workers.ask("feed", sheet=fitting.as_left(found), **asked))["feeds"]
    shown = next((r for r in rows if r["verdict"] != "refused"), rows[0] if rows else None)
    against = proven or (shown["against"] if shown else "") or ""  # else what leads, or nothing at all
    return routes.show(
        request,
        "feed.html",
        name=name,
        rows=rows,
        common=views.shared_cautions(rows),
        drawn=await _driven(
            request, fitting.as_left(found), shown, (against,) if against else (), known["phases"][0]["name"]
        ),
        drawn_text=shown["text"] if shown else "",
        views_hits=views.hits,
        text=text,
        purpose=purpose,
        restore=restore,
        parts=[p["name"] for p in known["parts"] if p["kind"] in LOADS],
        points=[p["name"] for p in known["points"]],
        against=plain(against),
        proven=proven,
        read=bool(found.state.readings),
        fitted={str(f["name"]): f.get("text", "") for f in found.state.feeds if f.get("fitted")},
    )


async def _driven(
    request: Request, sheet: str, feed: dict[str, Any] | None, against: tuple[str, ...], awake: str
) -> list[dict[str, str]]:
    """The drive cycle with a feed, drawn as it goes when it is fitted asleep, and when it is fitted awake."""
    drawn: list[dict[str, str]] = []
    for start in dict.fromkeys(("asleep", awake)) if feed is not None else ():
        try:
            asked = {
                "sheet": sheet,
                "feed": feed["text"] if feed else None,
                "fault": against,
                "start": start,
                "svg": True,
            }
            got = await request.app.state.workers.ask("cycle", cycles=2, **asked)
        except InputError:  # a feed that the judge knows and the cycle cannot draw is judged all the same
            continue
        drawn.append({"start": start, "svg": routes.with_nonce(got["svg"], request.state.nonce)})
    return drawn


LOADS = ("lamp", "motor", "heater", "resistor", "solenoid", "starter", "module", "relay", "load", "led")


@router.post("/job/{name}/fit")
async def fit(
    request: Request, name: str, text: str = Form(max_length=2000), purpose: str = Form("home"),
    until: str = Form("", max_length=100), key: str = Form("", alias=FORM_KEY),
) -> Response:  # fmt: skip
    """A feed that holds is in the vehicle: judged once more, kept, and its papers are there."""
    routes.checked(request, key)
    try:
        await store.read(name)
        await request.app.state.workers.ask(
            "fit", job=name, text=text, by=request.state.who, purpose=purpose, until=until.strip() or None
        )
    except InputError as e:
        return routes.wrong(request, e)
    return await _told(request, name, "papers")


@router.post("/job/{name}/taken-out")
async def taken_out(
    request: Request, name: str, feed: str = Form(max_length=200), key: str = Form("", alias=FORM_KEY)
) -> Response:
    """A feed was taken out again."""
    routes.checked(request, key)
    try:
        await store.told("remove", name, feed)
    except InputError as e:
        return routes.wrong(request, e)
    return await _told(request, name, "feed")


async def _told(request: Request, name: str, page: str) -> Response:
    await request.app.state.hub.tell(name, store.count(await store.read(name)))
    return RedirectResponse(f"/job/{name}/{page}", 303)
