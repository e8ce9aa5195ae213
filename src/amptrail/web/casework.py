"""The pages around the visit card: what to ask on the phone, and may a part be called dead."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from amptrail.jobs.base.figures import how_sure
from amptrail.sheet.said import plain, short, wires
from amptrail.web import routes, store, views

Json = dict[str, Any]
router = APIRouter(include_in_schema=False)
WHO = (("customer", "the owner"), ("shop", "the shop"), ("mine", "I see it myself"))
MOST_QUESTIONS = 5
UNSAID = re.compile(r"\"[^\"]*\"$")


@dataclass(frozen=True)
class Offered:
    """A test outside a visit: where, in which state, and the card with its answer."""

    card: views.TestCard
    place: str
    phase: str
    state: str
    minutes: int
    first: bool = False


def offered(t: Json, outcomes: tuple[views.Outcome, ...], why: str = "", first: bool = False) -> Offered:
    """The view of a test with its words."""
    ask, unit = t["ask"], views.NUMBERS.get(t["instrument"] or "")
    card = views.TestCard(
        t["line"], t["point"] or "", wires(ask["question"]), tuple(ask["first"]),
        views.where(ask), ask["lead"], tuple(ask["after"]), why,
        tuple(t["cautions"]), outcomes, views.UNITS[unit] if unit else (),
        views.QUICK.get(t["instrument"] or "", ()),
    )  # fmt: skip
    return Offered(card, t["place"], t["phase"], t["state"], round(t["minutes_min"]) or 1, first)


def _told(t: Json) -> tuple[views.Outcome, ...]:
    """What a test of a part sheet would show; answers in words are tapped."""
    good, *bad = t["answers"]
    if t["instrument"] in views.NUMBERS:
        return (views.Outcome(good, ("shown",)), views.Outcome(" or ".join(bad), ("not so",)))
    named = {good: ("shown",), **dict.fromkeys(bad, ("not so",))}
    every = dict.fromkeys((*views.LAMPS, *named)) if t["instrument"] in ("lamp", "led") else named
    return tuple(views.Outcome(views.SAID.get(w, w), named.get(w, ()), w) for w in every)


# ---- on the phone --------------------------------------------------------------------------------------
@router.get("/job/{name}/ask", response_class=HTMLResponse)
async def ask(
    request: Request, name: str, who: str = "customer", unknown: Annotated[str, Query(max_length=4000)] = ""
) -> HTMLResponse:
    """What to ask on the phone, the question that tells most first."""
    found = await store.read(name)
    sheet, readings = found.texts()
    gone = [x for x in unknown.split("|") if x]
    got = await request.app.state.workers.ask(
        "intake",
        sheet=sheet,
        readings=readings,
        who=who,
        top=MOST_QUESTIONS,
        unknown=tuple(gone),
        history=await store.learned(name),
    )
    questions = [
        {
            "ask": q["ask"],
            "unknown": "|".join((*gone, q["ask"])),
            "answers": [
                {**a, "leaves": tuple(dict.fromkeys(short(x["text"]) for x in a["leaves"]))}
                for a in q["answers"]
                if a["line"] is not None
            ],
        }
        for q in got["questions"]
    ]
    return routes.show(
        request, "ask.html", answers=who, people=WHO, questions=questions,
        unknown="|".join(gone), exchanged=got["exchanged"], worked_on=_worked(got["worked_on"]),
        complaint=found.state.complaint, back="ask", **routes.standing(found),
    )  # fmt: skip


def _worked(told: Json) -> Json:
    """The choices with room for what was done."""
    rows = [{**c, "line": UNSAID.sub('"{value}"', c["line"])} for c in told["choices"]]
    return {**told, "choices": rows}


# ---- may it be called dead -----------------------------------------------------------------------------
@router.get("/job/{name}/dead", response_class=HTMLResponse)
async def dead(request: Request, name: str, part: str = "") -> HTMLResponse:
    """Before a part is called dead: what is shown by which reading, and the test for what is missing."""
    found = await store.read(name)
    sheet, readings = found.texts()
    own = await store.tools(found)
    got = await request.app.state.workers.ask(
        "condemn",
        sheet=sheet,
        readings=readings,
        part=part or None,
        own=own,
        history=await store.learned(name),
    )
    lines, opened = [], False
    for x in got["lines"]:
        tests = [offered(t, _told(t), first=not opened and k == 0) for k, t in enumerate(x["tests"][:3])]
        opened = opened or bool(tests)
        by = [o["text"] for o in x["by"]]
        lines.append({**x, "tests": tests, "by": by})
    others = _others(got["alternatives"])
    return routes.show(
        request, "dead.html", got=got, lines=lines, others=others, words=plain,
        sure=how_sure(got["probability"]), back=f"dead?part={quote(part)}" if part else "dead",
        **routes.standing(found),
    )  # fmt: skip


def _parted(t: Json) -> tuple[views.Outcome, ...]:
    good, *bad = t["answers"]
    return (views.Outcome(good, ("the part",)), views.Outcome(" or ".join(bad), ("this instead",)))


def _others(rows: list[Json]) -> list[Json]:
    """What else still fits, those that one reading parts together."""
    found: dict[str, Json] = {}
    for a in rows:
        test = a["test"]
        known = f"{test['line']}\n{test['good']}\n{test['bad']}" if test else ""
        row = found.setdefault(known, {"words": [], "test": offered(test, _parted(test)) if test else None})
        row["words"].append(plain(a["text"]))
    return list(found.values())
