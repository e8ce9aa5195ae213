"""What the office enters beside readings: minutes, parts and prices, facts of the invoice, notes; and what
a technician says was done and left undone. The words are those of `amptrail job`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from amptrail.errors import InputError, one
from amptrail.web import store
from amptrail.web.figures import figure
from amptrail.web.guard import FORM_KEY
from amptrail.web.routes import checked, wrong

router = APIRouter(include_in_schema=False)
# action of `job`, what it is called on the page, an example
TOLD = {
    "time": ("Minutes", "drive 40"),
    "part": ("A part that was used", "relay 12 V 40 A"),
    "set": ("Price and particulars", "rate=95 ; currency=EUR ; vat=19"),
    "note": ("Note", "customer tows a trailer"),
    "done": ("Done", "new eye, sealed"),
    "left": ("Left undone", "the overflow hose still drips"),
}


@router.post("/job/{name}/close")
async def close(request: Request, name: str, key: str = Form("", alias=FORM_KEY)) -> Response:
    """The vehicle goes; a job that is closed already stays as it is."""
    checked(request, key)
    found = await store.read(name)
    try:
        if not found.state.closed:
            await store.told("close", name, "")
    except InputError as e:
        return wrong(request, e)
    return RedirectResponse("/", 303)


@router.post("/job/{name}/told")
async def told(
    request: Request, name: str, what: str = Form(), words: str = Form(max_length=2000),
    price: str = Form(""), count: str = Form(""), key: str = Form("", alias=FORM_KEY),
) -> Response:  # fmt: skip
    """One thing for the papers and the invoice."""
    checked(request, key)
    try:
        if what not in TOLD:
            raise one("unknown-action", f"nothing is called {what!r}"[:80], expected=tuple(TOLD),
                      remedy="choose one of the page of papers")  # fmt: skip
        figures = {"price": figure(price, "price of one", "12.50"), "count": figure(count, "how many", "1")}
        more: dict[str, Any] = {k: v for k, v in figures.items() if v is not None} if what == "part" else {}
        await store.told(what, name, words.strip(), **more)
    except InputError as e:
        return wrong(request, e)
    await request.app.state.hub.tell(name, store.count(await store.read(name)))
    return RedirectResponse(f"/job/{name}/papers", 303)
