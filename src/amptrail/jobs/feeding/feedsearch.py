"""`feed --restore`: the search told as rows, with the drive cycle of each feed drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from amptrail.circuit.model import Circuit
from amptrail.cycle import run_cycle
from amptrail.cycle.lanes import lanes
from amptrail.cycle.text import drawing
from amptrail.feed.marks import Mark
from amptrail.feed.search.run import Found, Search
from amptrail.feed.verdict import Verdict
from amptrail.jobs.base.context import Json
from amptrail.jobs.solved.feeds import find_feed, overlay
from amptrail.sheet import fault_text


def mark_json(m: Mark) -> Json:
    """A broken rule as the contract shows it."""
    return {"rule": m.rule, "start": m.start, "phase": m.phase, "part": m.part, "figure": m.figure + 0.0,
            "limit": m.limit, "unit": m.unit, **dict(m.more)}  # fmt: skip


def with_fitted(circuit: Circuit, names: Sequence[str]) -> Circuit:
    """The circuit as it stands: feeds already in the vehicle are part of it, and lines of the sheet that
    declare them are done with. InputError when no feed is called so."""
    whole = circuit
    for name in names:
        feed = find_feed(circuit, name)
        whole = overlay(whole, feed)
        whole = replace(whole, feeds=tuple(f for f in whole.feeds if f.name != feed.name))
    return whole


def drive_cycle_drawing(v: Verdict) -> str:
    """The drive cycle from asleep with the feed fitted, drawn for a terminal."""
    f = v.fitted
    told = run_cycle(f.network, f.lane("fed"), "asleep", 1, "settle")
    return drawing(told) if lanes(told).lanes else ""


def found_more(f: Found) -> Json:
    """What a row of a search has beside a judged feed."""
    return {
        "what": f.what,
        "tempting": f.tempting,
        "drawing": drive_cycle_drawing(f.verdict),
    }


def search_json(circuit: Circuit, s: Search) -> Json:
    """What was looked for and what was taken as broken."""
    return {
        "functions": [m.name for m in s.musts],
        "against": fault_text(circuit, s.against),
        "assumed": s.assumed,
        "looked_at": s.looked_at,
    }


__all__ = ["drive_cycle_drawing", "found_more", "mark_json", "search_json", "with_fitted"]
