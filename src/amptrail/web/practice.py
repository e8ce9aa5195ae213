"""The page of practice: a hidden fault on a template or on a job's circuit, your tests, the plan afterwards.

What was tried so far travels with the form, so the page needs no memory of its own.
"""

from __future__ import annotations

import secrets
import time
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse

from amptrail.errors import InputError
from amptrail.jobs import starters
from amptrail.web import routes, store
from amptrail.web.guard import FORM_KEY

router = APIRouter(include_in_schema=False)
MOST_TRIES = 20_000
SEEDS = 10_000
INSTRUMENTS = (("meter", "meter"), ("lamp", "test lamp"), ("loaded", "loaded lead"), ("clamp", "clamp"))


async def _sheet(circuit: str) -> str:
    """The sheet of `template:NAME` or of `job:NAME`."""
    kind, _, name = circuit.partition(":")
    return starters.template(name).sheet if kind == "template" else (await store.read(name)).texts()[0]


@router.get("/practice", response_class=HTMLResponse)
async def choose(request: Request) -> HTMLResponse:
    """Choose a circuit to practise on."""
    return routes.show(
        request, "practice_choose.html", templates=starters.templates(), jobs=(await store.jobs())[:5],
        seed=secrets.randbelow(SEEDS),
    )  # fmt: skip


@router.post("/practice", response_class=HTMLResponse)
async def go_on(
    request: Request,
    circuit: Annotated[str, Form(max_length=200)],
    seed: Annotated[int, Form(ge=0, le=10**9)] = 0,
    tries: Annotated[str, Form(max_length=MOST_TRIES)] = "",
    began: Annotated[float, Form()] = 0.0,
    ask: Annotated[str, Form(max_length=500)] = "",
    point: Annotated[str, Form(max_length=200)] = "",
    phase: Annotated[str, Form(max_length=200)] = "",
    instrument: Annotated[str, Form(max_length=40)] = "meter",
    guess: Annotated[str, Form(max_length=500)] = "",
    key: Annotated[str, Form(alias=FORM_KEY)] = "",
) -> HTMLResponse:
    """One more test, or the end."""
    routes.checked(request, key)
    workers = request.app.state.workers
    sheet = await _sheet(circuit)
    line = ask or (f"it is {guess.strip()}" if guess.strip() else "")
    line = line or (f"{point.strip()} in {phase} {instrument} ?" if point.strip() else "")
    before = "".join(f"{x}\n" for x in tries.splitlines() if x.strip())
    wrong: tuple[Any, ...] = ()
    try:
        tried = before + (f"{line}\n" if line else "")
        got = await workers.ask("practice", sheet=sheet, seed=seed, tries=tried)
    except InputError as e:
        wrong, tried = e.problems, before
        got = await workers.ask("practice", sheet=sheet, seed=seed, tries=before)
    known = await workers.ask("check", sheet=sheet)
    drawn = await workers.ask("draw", sheet=sheet)
    minutes = (time.time() - began) / 60 if began else 0.0
    names = [p["name"] for p in known["phases"]]
    return routes.show(
        request, "practice.html", 422 if wrong else 200, got=got, circuit=circuit, seed=seed, tries=tried,
        began=began or time.time(), clock=max(minutes, 0.0), problems=wrong, phases=names,
        phase=phase if phase in names else names[0], instrument=instrument, instruments=INSTRUMENTS,
        asks=_asks(known), points=[p["name"] for p in known["points"]],
        faults=[f["text"] for f in known["faults"]][:400],
        svg=routes.with_nonce(drawn["svg"], request.state.nonce),
    )  # fmt: skip


def _asks(known: dict[str, Any]) -> list[dict[str, str]]:
    """What needs no instrument: does a function work, does a relay click."""
    names = {p["name"]: p for p in known["phases"]}
    found = [
        {"line": f"{f['name']} in {phase} ?", "words": f"Does {f['name']} work in {phase}?"}
        for f in known["functions"] for phase in f["on"] if phase in names and f["signal"] is None
    ]  # fmt: skip
    return found[:12]
