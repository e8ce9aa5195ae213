"""Feeds that are talked about and not fitted: what the shop asked for, and what could be offered instead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amptrail.circuit.model import Circuit, key
from amptrail.errors import one, typed
from amptrail.jobs.base.context import load
from amptrail.jobs.base.joblog import Case
from amptrail.jobs.feeding.feeding import FeedOptions, feed
from amptrail.jobs.feeding.fitting import as_left, broken_by, in_place, judged, record
from amptrail.jobs.solved.observe import observations

MOST_OFFERED = 1


def asked_for(case: Case, text: str, more: Mapping[str, Any]) -> dict[str, Any]:
    """The log's record of what somebody asked for: a feed is judged as `fit` would, and kept whatever the
    verdict; anything else is kept as refused, with the reason a person gives."""
    if not text:
        raise one("usage", "what was asked for?",
                  remedy=f'amptrail job ask {typed(case.name)} "from F3.out to PUMP.in wire 2.5 mm2 3 m" '
                  '--asked "the shop"')  # fmt: skip
    who = str(more.get("asked") or "").strip()
    kept = {"asked": True, "fitted": False, "asked_by": who or None, "until": more.get("until")}
    why = str(more.get("cause") or "").strip()
    if why:
        return {"name": "", "words": text, "text": text, "verdict": "refused", "why": why, **kept}
    if not _is_feed(case, text):
        raise one("no-feed", f"{text[:60]!r} is no feed that could be judged",
                  remedy='write it as "from A to B fuse 5 A wire 0.5 mm2 2 m", or say why it was refused: '
                  f'job ask {typed(case.name)} "{text[:30]}" --cause "the wire would burn"')  # fmt: skip
    row = judged(case, text, str(more.get("purpose") or "home"))
    return {**record(case, text, row), **kept}


def _is_feed(case: Case, text: str) -> bool:
    if case.state.sheet is None:
        return False
    names = {key(f.name) for f in load(case.state.sheet).circuit.feeds}
    return text.lower().startswith("from ") or key(text) in names


def failing(circuit: Circuit, readings: str) -> tuple[str, ...]:
    """Parts and functions that were last said not to work."""
    last: dict[str, tuple[str, bool]] = {}
    for o in observations(circuit, readings).used:
        if o.kind == "works" and o.part:
            last[key(o.part)] = (o.part, o.word == "does not")
    return tuple(name for name, dead in last.values() if dead)


def offered(case: Case) -> list[dict[str, Any]]:
    """The best feed that would make work again what was said not to, against what was concluded or, before
    that, against everything that still fits; empty where nothing is said or nothing holds."""
    if case.state.sheet is None:
        return []
    circuit = load(case.state.sheet).circuit
    wanted = failing(circuit, case.state.readings_text)
    if not wanted:
        return []
    asked = FeedOptions(purpose="home", restore=wanted, fitted=in_place(case), **broken_by(case))
    rows = [r for r in feed(as_left(case), asked)["feeds"] if r["verdict"] == "holds"]
    return [{**record(case, r["text"], r), "fitted": False} for r in rows[:MOST_OFFERED]]
