"""Blade fuses: cold resistance, time-current gates, colours, what a millivolt across one means."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from amptrail.errors import one
from amptrail.reference.rows import Status, optional, rows, status
from amptrail.reference.wire import Wire

SHORT_VOLTS, SHORT_SOURCE_OHM, SHORT_WIRE_C = (
    12.0,
    0.015,
    85.0,
)  # the dead short of the reach table (computed)


@dataclass(frozen=True, slots=True)
class Fuse:
    """One fuse. `cold_ohm` at currents far below rating; None where the table has only its colour."""

    form: str
    rating_a: float
    colour: str
    cold_ohm: float | None
    rated_drop_v: float | None
    i2t_a2s: float | None
    status: Status
    source: str


@dataclass(frozen=True, slots=True)
class Gate:
    """At `percent` of rating a fuse opens after `min_s` and before `max_s` (None: not bounded)."""

    form: str
    percent: float
    min_s: float | None
    max_s: float | None
    source: str


def _thousandth(text: str) -> float | None:
    value = optional(text)
    return None if value is None else value / 1000


@cache
def fuses(form: str = "blade") -> tuple[Fuse, ...]:
    """Fuses of a form (blade, mini, maxi), smallest first."""
    return tuple(
        Fuse(r["form"], float(r["rating_a"]), r["colour"], _thousandth(r["cold_mohm"]),
             _thousandth(r["rated_drop_mv"]), optional(r["i2t_a2s"]), status(r["status"]), r["source"])
        for r in sorted(rows("fuse"), key=lambda r: float(r["rating_a"]))
        if r["form"] == form
    )  # fmt: skip


@cache
def gates(form: str = "blade") -> tuple[Gate, ...]:
    """Time-current gates of a form, lowest current first."""
    return tuple(
        Gate(r["form"], float(r["percent"]), optional(r["min_s"]), optional(r["max_s"]), r["source"])
        for r in rows("fuse_gates")
        if r["form"] == form
    )


def blade(rating_a: float) -> Fuse:
    """The standard blade fuse of a rating; InputError lists the ratings."""
    for f in fuses():
        if f.rating_a == rating_a:
            return f
    raise one(
        "fuse-rating",
        f"{rating_a:g} A is no blade fuse rating",
        expected=tuple(f"{f.rating_a:g} A" for f in fuses()),
    )


def cold_ohm(rating_a: float) -> float:
    """Cold resistance of a blade or maxi fuse, ohm; between ratings 77 mV over the rating (computed)."""
    for f in (*fuses(), *fuses("maxi")):
        if f.rating_a == rating_a and f.cold_ohm is not None:
            return f.cold_ohm
    return 0.077 / rating_a


def amps_from_drop(rating_a: float, volts: float) -> float:
    """Current behind a fuse from the volts across it, A, at currents far below its rating."""
    return volts / cold_ohm(rating_a)


def opens_within_s(rating_a: float, amps: float, form: str = "blade") -> float | None:
    """Time by which the fuse is surely open, s; None when it may carry the current for ever."""
    sure = [g.max_s for g in gates(form) if g.max_s is not None and amps * 100 >= g.percent * rating_a]
    return min(sure) if sure else None


def reach_m(wire: Wire, rating_a: float, times: float = 2.0, source_ohm: float = SHORT_SOURCE_OHM) -> float:
    """Longest wire, m, at whose far end a dead short still draws `times` the rating of a cold fuse.

    12.0 V behind `source_ohm` of source and return, wire at 85 C. At 2 x a blade opens within 5 s. Zero
    when even no wire would do.
    """
    budget = SHORT_VOLTS / (times * rating_a) - source_ohm - cold_ohm(rating_a)
    return max(budget, 0.0) / wire.ohm_per_m_at(SHORT_WIRE_C)
