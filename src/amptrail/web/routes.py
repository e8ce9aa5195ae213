"""The pages. Each is one small function: ask, turn into a view, fill a template."""

from __future__ import annotations

import io
import re
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, WebSocket, WebSocketDisconnect
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from fastapi.templating import Jinja2Templates

from amptrail.errors import InputError
from amptrail.jobs import starters
from amptrail.jobs.base.figures import built, tell_apart
from amptrail.jobs.log.cases import Case
from amptrail.sheet.readers import reader_of
from amptrail.sheet.said import plain
from amptrail.web import store, views
from amptrail.web.guard import COOKIE, FORM_KEY, Guard, own_page
from amptrail.web.live import Hub
from amptrail.web.work import Workers

router = APIRouter(include_in_schema=False)
pages = Jinja2Templates(directory=str(Path(__file__).parent / "pages"))


def _state(request: Request) -> tuple[Guard, Workers, Hub]:
    s = request.app.state
    return s.guard, s.workers, s.hub


def show(request: Request, page: str, status: int = 200, **more: Any) -> HTMLResponse:
    """A page with what every page needs."""
    guard: Guard = request.app.state.guard
    always = {
        "nonce": request.state.nonce, "form_key": guard.form_key, "who": getattr(request.state, "who", ""),
    }  # fmt: skip
    return pages.TemplateResponse(request, page, {**always, **more}, status_code=status)


def wrong(request: Request, e: InputError, status: int = 422) -> HTMLResponse:
    """What is wrong and what to do, as a page."""
    again = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    busy = any(p.code == "too-long" for p in e.problems) and request.method == "GET"
    missing = any(p.code == "no-such-job" for p in e.problems)
    job = "" if missing else request.path_params.get("name", "")
    return show(request, "wrong.html", status, problems=e.problems, again=again if busy else "", job=job)


def standing(found: Case) -> dict[str, Any]:
    """What every page of an open job shows of it: its name, what was said last, how much was said."""
    return {"name": found.name, "said": store.said(found)[-5:][::-1], "entries": store.count(found)}


def checked(request: Request, key: str) -> None:
    """403 unless a form carries the key of our own pages."""
    if key != request.app.state.guard.form_key:
        from fastapi import HTTPException

        raise HTTPException(403, "this form is from an older page: go back and reload it")


@router.get("/", response_class=HTMLResponse)
async def doors(request: Request) -> HTMLResponse:
    """The first page: four doors, and the jobs that are open."""
    jobs, closed = await store.latest(6)
    return show(request, "doors.html", jobs=jobs, closed=closed, templates=starters.templates())


def with_nonce(svg: str, nonce: str) -> str:
    """The drawing with its styles allowed by this page's policy."""
    return svg.replace("<style>", f'<style nonce="{nonce}">')


@router.get("/job/{name}", response_class=HTMLResponse)
async def job(
    request: Request, name: str, at: str = "", since: int = -1, cannot: str = "", without: str = ""
) -> Response:
    """The visit card: where to go, what to do there, big answers. `at` holds until something is read after
    it was said (`since`: how much was said by then); from there on the readings tell where one is."""
    _, workers, _ = _state(request)
    found = await store.read(name)
    at = at if since in (-1, store.count(found)) else ""
    if found.state.sheet is None:
        return RedirectResponse(f"/job/{name}/sheet", 303)
    sheet, readings = found.texts()
    barred, missing = _listed(cannot), _listed(without)
    got = await workers.ask(
        "visit", sheet=sheet, readings=readings, place=at or None, cannot=barred,
        without=tuple(w for w in missing if w != "helper"), helper="helper" not in missing,
        own=await store.tools(found), history=await store.learned(name),
    )  # fmt: skip
    fits, gone = views.columns(got["weighed"])
    return show(
        request,
        "visit.html",
        line=lambda n: reader_of(readings.splitlines()[n - 1])[0],
        state=found.state,
        visits=views.visits(got["plan"]),
        stop=got["plan"]["stop"],
        fits=fits,
        gone=gone,
        places=got["places"],
        here=at or got["here"]["place"] or "",
        at=at,
        cannot=cannot,
        without=missing,
        toggled=lambda w: ",".join(x for x in missing if x != w) if w in missing else ",".join((*missing, w)),
        missing=MISSING,
        weighed=got["weighed"],
        built=built(got["weighed"]["drawings"]),
        tells=got["plan"]["tells_drawings"],
        apart=tell_apart,
        again=got["again"],
        repair_cautions=got["repair_cautions"],
        words=plain,
        still_the_same=got["still_the_same"],
        points=got["points"],
        **standing(found),
    )


MISSING = ("helper", "lamp", "loaded", "clamp", "meter")


def _listed(text: str) -> tuple[str, ...]:
    return tuple(x for x in text.split(",") if x)


@router.post("/job/{name}/add")
async def add(
    request: Request,
    name: str,
    line: str = Form(),
    value: str = Form(""),
    word: str = Form(""),
    unit: str = Form(""),
    entry: str = Form(""),
    unsure: str = Form(""),
    how: str = Form(""),
    back: str = Form(""),
    key: str = Form("", alias=FORM_KEY),
) -> Response:
    """A reading from a form without scripts; the scripts send the same through the interface."""
    said = word or with_unit(value.strip(), unit)
    whole = filled(line, said, bool(unsure), how)
    return await _done(request, key, name, partial(store.add, name, whole, entry), back)


DECIMAL = re.compile(r"^([-+]?\d*),(\d+)(?=\s|$)")  # a comma typed for the point
BACK = ("ask", "night", "dead")


def back_to(name: str, back: str) -> str:
    """The page a form came from: `ask`, `night`, `dead?part=X`; else the visit card."""
    page, _, part = back.partition("?part=")
    more = f"?part={quote(part)}" if part else ""
    return f"/job/{name}/{page}{more}" if page in BACK else f"/job/{name}"


def with_unit(figure: str, unit: str) -> str:
    """The figure with the key that was tapped; a key of a time says where its figure goes."""
    return unit.replace("…", figure) if "…" in unit else " ".join(x for x in (figure, unit) if x)


def filled(line: str, value: str, unsure: bool = False, how: str = "") -> str:
    """The line of a test with its answer in it, with what was said of it behind."""
    more = (" unsure" if unsure else "") + (f" while {how}" if how in ("failing", "working") else "")
    said = DECIMAL.sub(r"\1.\2", value.strip())
    quoted = said.replace('"', "'")
    told = line.replace(' "{value}"', f' "{quoted}"' if quoted else "")
    rows = told.replace("{value}", said).split("\n")
    at = next((k for k, r in enumerate(line.split("\n")) if "{value}" in r), len(rows) - 1)
    rows[at] += more
    return "\n".join(rows)


@router.post("/job/{name}/undo")
async def undo(
    request: Request,
    name: str,
    line: str = Form(""),
    back: str = Form(""),
    key: str = Form("", alias=FORM_KEY),
) -> Response:
    """Take back an entry, or the last reading."""
    return await _done(request, key, name, partial(store.undo, name, line), back)


@router.post("/job/{name}/proven")
async def proven(
    request: Request,
    name: str,
    line: str = Form(""),
    cause: str = Form(""),
    entry: str = Form(""),
    key: str = Form("", alias=FORM_KEY),
) -> Response:
    """Repaired, and it works again: that proves the fault. Its cause may be told with it or later."""
    return await _done(request, key, name, partial(store.conclude, name, line, cause, entry))


async def _done(
    request: Request, key: str, name: str, act: Callable[[], Awaitable[None]], back: str = ""
) -> Response:
    """What a form asks for, done when its key is right; the other pages of the job are told."""
    checked(request, key)
    try:
        await act()
    except InputError as e:
        return wrong(request, e)
    await request.app.state.hub.tell(name, store.count(await store.read(name)))
    return RedirectResponse(back_to(name, back), 303)


@router.websocket("/job/{name}/live")
async def live(page: WebSocket, name: str) -> None:
    """Tells a page when its job has changed elsewhere."""
    guard: Guard = page.app.state.guard
    if not guard.known(page) or not guard.same_site(page):
        await page.close(4401)
        return
    hub: Hub = page.app.state.hub
    await hub.join(name, page)
    try:
        while True:
            await page.receive_text()
    except WebSocketDisconnect:
        hub.leave(name, page)


@router.get("/pair", response_class=HTMLResponse)
async def pair_page(request: Request, code: str = "", to: str = "/") -> HTMLResponse:
    """Where a phone types, or brings, the code."""
    guard: Guard = request.app.state.guard
    return show(request, "pair.html", closed=guard.closed, code=code, to=own_page(to))


@router.post("/pair")
async def pair(request: Request, code: str = Form(), to: str = Form("/")) -> Response:
    """Give a session for the right code."""
    guard: Guard = request.app.state.guard
    token = await guard.pair(code)
    if token is None:
        return show(request, "pair.html", 403, closed=guard.closed, code="", wrong=True, to=own_page(to))
    response = RedirectResponse(own_page(to), 303)
    response.set_cookie(
        COOKIE, token, httponly=True, samesite="strict", secure=request.url.scheme == "https", max_age=43_200
    )
    return response


@router.get("/sw.js")
async def worker() -> Response:
    """The script that keeps pages on a phone; at the root, where it may speak for all of them."""
    return FileResponse(Path(__file__).parent / "static" / "sw.js", media_type="text/javascript")


@router.get("/authority.crt")
async def authority(request: Request) -> Response:
    """The certificate a phone is told to trust, once, so that its pages outlive a lost network."""
    path: Path | None = request.app.state.authority
    if path is None:
        return show(request, "wrong.html", 404, problems=(), said="start the program with --tls for this")
    return FileResponse(path, media_type="application/x-x509-ca-cert", filename="amptrail.crt")


@router.get("/workshop", response_class=HTMLResponse)
async def workshop(request: Request) -> HTMLResponse:
    """The code and its square for the phones, on the laptop only."""
    guard: Guard = request.app.state.guard
    if not guard.local(request) or not guard.workshop:
        return show(request, "wrong.html", 404, problems=())
    import segno

    address = f"{request.app.state.address}/pair?code={guard.code}"
    out = io.BytesIO()
    segno.make(address, error="m").save(out, kind="svg", border=2, xmldecl=False, omitsize=True)
    return show(
        request,
        "workshop.html",
        square=out.getvalue().decode(),
        address=request.app.state.address,
        code=guard.code,
        tls=request.app.state.authority is not None,
    )
