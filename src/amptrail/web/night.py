"""The night drain on one page: what flows at rest, the whole fuse box in millivolts, what wakes and comes
last, who keeps whom awake, hours until flat."""

from __future__ import annotations

import re
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from amptrail.errors import InputError, one
from amptrail.jobs.base.figures import how_sure
from amptrail.web import routes, store, views
from amptrail.web.casework import Offered, offered
from amptrail.web.guard import FORM_KEY

Json = dict[str, Any]
router = APIRouter(include_in_schema=False)
MOST_PULLS, MOST_CASES = 4, 3
WORTH = 0.03  # a cause less likely than this is not named
DAYS_FROM_H = 72.0
NUMBER = re.compile(r"[-+]?\d{1,6}(\.\d{0,6})?")
FIGURE = re.compile(r"(^|\s)\{value\}")


def _number(text: str, what: str) -> float | None:
    said = text.strip().replace(",", ".").replace("−", "-")
    if not said:
        return None
    if not NUMBER.fullmatch(said):
        raise one("no-number", f"{what}: {text[:40]!r} is no number", remedy="type figures only")
    return float(said)


def _ma(amps: float | None) -> str:
    if amps is None:
        return "-"
    return f"{amps:.1f} A" if abs(amps) >= 10 else f"{abs(round(amps * 1000))} mA"


def _hours(flat: Json) -> str:
    least, most = sorted((flat["hours_low"], flat["hours_high"]))
    unit, per = ("hours", 1.0) if flat["hours"] < DAYS_FROM_H else ("days", 24.0)
    low, high = f"{least / per:.0f}", f"{most / per:.0f}"
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _night(got: Json) -> Json:
    """The words of the head of the page."""
    flat, gap = got["flat"], ""
    if got["unexplained_low_a"] is not None and got["unexplained_low_a"] > 0:
        gap = f"{_ma(got['unexplained_a'])} of the clamp's reading flow through none of the fuses read."
    ah = f"{flat['battery_ah']:g} Ah" + ("" if flat["battery_ah_source"] == "as said" else ", usual")
    return {
        "flows": _ma(got["flows_a"]), "from": got["flows_source"].capitalize(), "limit": _ma(got["limit_a"]),
        "limit_why": got["limit_source"], "sound": _ma(got["expected_a"]), "gap": gap, "hours": _hours(flat),
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
        told = f"{volts}{_ma(read['amps'])}"
    rating = f"{r['rating_a']:g} A" if r["rating_a"] else ""
    return {
        "name": " ".join(x for x in (r["fuse"], rating) if x), "place": r["place"],
        "behind": ", ".join(r["behind"][:4]) or "nothing of its own", "fill": r["fill"], "read": told,
        "verdict": r["verdict"], "expected": _ma(r["expected_a"]),
        "awake": _ma(r["awake_a"]) if r["awake_a"] else "",
    }  # fmt: skip


def _case(c: Json) -> Json:
    told: list[str] = []
    for k in c["keepers"]:
        told += [f"{k['module']} is kept awake by {', '.join(k['by'])}"] if k["by"] else k["because"]
    return {
        "words": views.plain(c["text"]), "sure": how_sure(c["probability"]), "flows": _ma(c["sleep_a"]),
        "keepers": told,
    }  # fmt: skip


def _step(t: Json) -> Offered:
    left = tuple(views.Outcome(_ma(x["amps"]), (f"if {views.short(x['text'])}",)) for x in t["left"])
    why = ("WAKES: " if t["restarts"] else "wakes nothing: ") + t["why"]
    return offered(t, left, why)


@router.get("/job/{name}/night", response_class=HTMLResponse)
async def night(request: Request, name: str, ah: str = "", celsius: str = "") -> HTMLResponse:
    """The night drain job on one page: the whole fuse box in millivolts, what is awake, hours until flat."""
    found = await store.read(name)
    sheet, readings = found.texts()
    asked = {"battery_ah": _number(ah, "battery"), "celsius": _number(celsius, "cold of the night")}
    got = await request.app.state.workers.ask("drain", sheet=sheet, readings=readings, **asked)
    # the millivolts of all fuses are one form, in between
    rows = [t for t in got["tests"] if t["fuse"] is None or t["what"] == "pull"][: 1 + MOST_PULLS]
    shared = tuple(c for c in rows[0]["cautions"] if all(c in t["cautions"] for t in rows)) if rows else ()
    steps = [_step({**t, "cautions": [c for c in t["cautions"] if c not in shared]}) for t in rows]
    clamp = next((s for s, t in zip(steps, rows, strict=True) if t["fuse"] is None), None)
    return routes.show(
        request, "night.html", got=got, n=_night(got), read=got["flows_source"][:9] != "the sheet",
        fuses=[_fuse(r) for r in got["fuses"]], clamp=clamp, pulls=[s for s in steps if s is not clamp],
        cautions=shared,
        cases=[_case(c) for c in got["cases"] if c["probability"] >= WORTH and c["awake"]][:MOST_CASES],
        ah=ah, celsius=celsius, back="night", **routes.standing(found),
    )  # fmt: skip


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
        for line in lines:
            await store.add(name, line)
    except InputError as e:
        return routes.wrong(request, e)
    await request.app.state.hub.tell(name, store.count(await store.read(name)))
    return RedirectResponse(routes.back_to(name, str(form.get("back", ""))), 303)
