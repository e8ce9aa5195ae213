"""The night drain on one page: what flows at rest, the whole fuse box in millivolts, what wakes and comes
last, who keeps whom awake, hours until flat."""

from __future__ import annotations

import hashlib
import re
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from amptrail.errors import InputError
from amptrail.jobs.base.figures import at_rest, how_sure, until
from amptrail.sheet.said import plain, short
from amptrail.web import routes, store, views
from amptrail.web.casework import Offered, offered
from amptrail.web.figures import figure
from amptrail.web.guard import FORM_KEY

Json = dict[str, Any]
router = APIRouter(include_in_schema=False)
MOST_PULLS, MOST_CASES = 4, 3
WORTH = 0.03  # a cause less likely than this is not named
ONE_PAGE = re.compile(r"[0-9a-f]{12}")
FIGURE = re.compile(r"(^|\s)\{value\}")


def _night(got: Json) -> Json:
    """The words of the head of the page."""
    flat, gap = got["flat"], ""
    if got["unexplained_low_a"] is not None and got["unexplained_low_a"] > 0:
        gap = f"{at_rest(got['unexplained_a'])} of the clamp's reading flow through none of the fuses read."
    ah = f"{flat['battery_ah']:g} Ah" + ("" if flat["battery_ah_source"] == "as said" else ", usual")
    return {
        "flows": at_rest(got["flows_a"]), "from": got["flows_source"].capitalize(), "gap": gap,
        "limit": at_rest(got["limit_a"]), "limit_why": got["limit_source"],
        "sound": at_rest(got["expected_a"]), "hours": until((flat["hours_low"], flat["hours_high"])),
        "reckoned": f"{ah}; {flat['volts']:.2f} V is {flat['charge_share'] * 100:.0f} % charged; at "
                    f"{flat['celsius']:g} °C {flat['cold_share'] * 100:.0f} % of it is there, "
                    f"{flat['usable_share'] * 100:.0f} % usable",
        "wait": f"Wait until it sleeps: {got['wait_min']:.0f} min ({got['wait_source']}).",
        "minutes": round(got["minutes_min"]),
    }  # fmt: skip


def _fuse(r: Json) -> Json:
    read = r["read"]
    told = ""
    if read is not None:
        volts = f"{read['volts'] * 1000:.1f} mV = " if read["volts"] is not None else ""
        told = f"{volts}{at_rest(read['amps'])}"
    rating = f"{r['rating_a']:g} A" if r["rating_a"] else ""
    return {
        "name": " ".join(x for x in (r["fuse"], rating) if x), "place": r["place"],
        "behind": ", ".join(r["behind"][:4]) or "nothing of its own", "fill": r["fill"], "read": told,
        "verdict": r["verdict"], "expected": at_rest(r["expected_a"]),
        "awake": at_rest(r["awake_a"]) if r["awake_a"] else "", "cautions": r["cautions"],
    }  # fmt: skip


def _case(c: Json) -> Json:
    told: list[str] = []
    for k in c["keepers"]:
        told += [f"{k['module']} is kept awake by {', '.join(k['by'])}"] if k["by"] else k["because"]
    return {
        "words": plain(c["text"]), "sure": how_sure(c["probability"]), "flows": at_rest(c["sleep_a"]),
        "keepers": told,
    }  # fmt: skip


def _step(t: Json) -> Offered:
    left = tuple(views.Outcome(at_rest(x["amps"]), (f"if {short(x['text'])}",)) for x in t["left"])
    why = ("WAKES: " if t["restarts"] else "wakes nothing: ") + t["why"]
    return offered(t, left, why)


@router.get("/job/{name}/night", response_class=HTMLResponse)
async def night(request: Request, name: str, ah: str = "", celsius: str = "") -> HTMLResponse:
    """The night drain job on one page: the whole fuse box in millivolts, what is awake, hours until flat."""
    found = await store.read(name)
    sheet, readings = found.texts()
    asked = {
        "battery_ah": figure(ah, "charge of the battery, Ah", "74"),
        "celsius": figure(celsius, "cold of the night, °C", "-5"),
    }
    got = await request.app.state.workers.ask("drain", sheet=sheet, readings=readings, **asked)
    # the millivolts of all fuses are one form, in between
    rows = [t for t in got["tests"] if t["fuse"] is None or t["what"] == "pull"][: 1 + MOST_PULLS]
    every = [x["cautions"] for x in (*rows, *got["fuses"])]
    shared = tuple(c for c in every[0] if all(c in x for x in every)) if every else ()
    fuses = [_fuse({**r, "cautions": [c for c in r["cautions"] if c not in shared]}) for r in got["fuses"]]
    steps = [_step({**t, "cautions": [c for c in t["cautions"] if c not in shared]}) for t in rows]
    clamp = next((s for s, t in zip(steps, rows, strict=True) if t["fuse"] is None), None)
    return routes.show(
        request, "night.html", got=got, n=_night(got), read=got["flows_read"],
        fuses=fuses, clamp=clamp, pulls=[s for s in steps if s is not clamp],
        cautions=shared,
        cases=[_case(c) for c in got["cases"] if c["probability"] >= WORTH and c["awake"]][:MOST_CASES],
        ah=ah, celsius=celsius, back="night", once=f"{len(found.entries):012x}", **routes.standing(found),
    )  # fmt: skip


def _once(page: str, told: str) -> str | None:
    """The id of what was typed into one page, which is known by how much the log held then: the same again is
    the same entry, other figures are another."""
    known = ONE_PAGE.fullmatch(page)
    return f"{page}{hashlib.sha256(told.encode()).hexdigest()[:12]}" if known else None


@router.post("/job/{name}/adds")
async def adds(request: Request, name: str) -> Response:
    """Many readings of one form without scripts: each field's name is the line its figure is written in."""
    form = await request.form()
    routes.checked(request, str(form.get(FORM_KEY, "")))
    lines = [
        routes.filled(k, str(v).replace(",", "."))
        for k, v in form.multi_items()
        if FIGURE.search(k) and str(v).strip()
    ]
    try:
        told = "\n".join(lines)  # all of them, or none where one is wrong; sent twice, they are kept once
        await store.add(name, told, _once(str(form.get("entry", "")), told))
    except InputError as e:
        return routes.wrong(request, e)
    await request.app.state.hub.tell(name, store.count(await store.read(name)))
    return RedirectResponse(routes.back_to(name, str(form.get("back", ""))), 303)
