"""Who is at a device. Where people are listed, a device says it once after pairing; what is entered from it
is then theirs, and the log refuses what their role does not enter.

It is asked for, not proven: roles keep colleagues from mistakes and are no lock (docs/jobs.md).
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from urllib.parse import quote, unquote

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse

from amptrail.errors import InputError
from amptrail.jobs.base import joblog
from amptrail.store import Person
from amptrail.store.where import exists, named
from amptrail.web import routes
from amptrail.web.guard import FORM_KEY, Guard, own_page

router = APIRouter(include_in_schema=False)
WHO = "amptrail-who"
DAYS_30_S = 30 * 86_400
READS = ("GET", "HEAD")
FREE = ("/who", "/pair", "/static/", "/sw.js", "/authority.crt", "/workshop")
ENTERS = {
    "technician": "enters everything",
    "office": "enters calls, notes, minutes, parts and files",
    "read-only": "reads",
}


def listed() -> dict[str, Person]:
    """Who works here now; nobody where none was ever listed. InputError when the log cannot be read."""
    if not exists(named()):  # looking at a page makes no log
        return {}
    with joblog.opened() as log:
        return {n: p for n, p in log.people().items() if p.role != "gone"}


def _chosen(request: Request, here: dict[str, Person]) -> str:
    """Who the device said it is; on this machine itself, without that, who started the pages."""
    name = unquote(request.cookies.get(WHO, ""))
    guard: Guard = request.app.state.guard
    if name not in here and guard.local(request):
        name = joblog.whose()
    return name if name in here else ""


async def middleware(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
    """Everything entered in this request is of the person at the device; who has not said it is asked."""
    request.state.who = request.state.role = ""
    path = request.url.path
    if path.startswith(FREE):
        return await call(request)
    try:
        here = await asyncio.to_thread(listed)
    except InputError as e:
        if request.method in READS:  # the page says what is wrong with the log
            return await call(request)
        return JSONResponse({"detail": f"nothing is entered now: {e.problems[0].message}"}, 503)
    if not here:
        return await call(request)
    name = _chosen(request, here)
    if not name:
        if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
            query = f"?{request.url.query}" if request.url.query else ""
            return RedirectResponse(f"/who?to={quote(own_page(path) + query)}", 303)
        return JSONResponse({"detail": "say who you are: open /who on this device"}, 403)
    request.state.who, request.state.role = name, here[name].role
    token = joblog.ENTERING.set(name)
    try:
        return await call(request)
    finally:
        joblog.ENTERING.reset(token)


@router.get("/who", response_class=HTMLResponse)
async def who(request: Request, to: str = "/") -> HTMLResponse:
    """The people of this shop, one tap each."""
    here = await asyncio.to_thread(listed)
    people = [(p.name, ENTERS.get(p.role, p.role)) for p in here.values()]
    return routes.show(request, "who.html", people=people, chosen=_chosen(request, here), to=own_page(to))


@router.post("/who")
async def choose(
    request: Request, name: str = Form(), to: str = Form("/"), key: str = Form("", alias=FORM_KEY)
) -> Response:
    """Remember on the device who it is."""
    routes.checked(request, key)
    if name not in await asyncio.to_thread(listed):
        return RedirectResponse("/who", 303)
    response = RedirectResponse(own_page(to), 303)
    response.set_cookie(
        WHO, quote(name), httponly=True, samesite="strict", secure=request.url.scheme == "https",
        max_age=DAYS_30_S,
    )  # fmt: skip
    return response
