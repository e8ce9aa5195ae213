"""How likely each kind of fault is, what it looks like, and what its repair takes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from amptrail.reference.rows import optional, rows

# 6 of 37 classified stories had two or more faults. Faults independent with total chance s give
# pairs/singles = s/2, so s = 2 * 6/31: the sum of all single priors when the prior of a pair is a product.
SINGLES_TOTAL = 2 * 6 / 31


@dataclass(frozen=True, slots=True)
class PriorRow:
    """One row of priors.csv. `weight` is relative within `share_class`; ohm range of the severity or None.

    `seen_when_so` / `seen_when_not`: chance that a look finds `looks` when the fault is there / is not.
    `intermittent`: chance that the fault comes and goes. `repair_minutes` without reaching the place.
    """

    kinds: tuple[str, ...]
    spot: str
    mode: str
    share_class: str
    weight: float
    severity: tuple[float, float] | None
    intermittent: float
    repair_group: str
    repair: str
    repair_minutes: float
    looks: str
    seen_when_so: float
    seen_when_not: float
    hurts: str
    source: str


def _row(r: dict[str, str]) -> PriorRow:
    low, high = optional(r["low_ohm"]), optional(r["high_ohm"])
    return PriorRow(
        tuple(r["kind"].split("|")), r["spot"], r["mode"], r["class"], float(r["weight"]),
        (low, high) if low is not None and high is not None else None, float(r["intermittent"]),
        r["repair_group"], r["repair"], float(r["repair_minutes"]), r["looks"], float(r["seen_when_so"]),
        float(r["seen_when_not"]), r["hurts"], r["source"],
    )  # fmt: skip


@cache
def priors() -> tuple[PriorRow, ...]:
    """All rows, in the order of the file."""
    return tuple(_row(r) for r in rows("priors"))


@cache
def shares() -> dict[str, float]:
    """Share of each class among causes (they sum to 1)."""
    return {r["name"]: float(r["share"]) for r in rows("shares")}


@cache
def trait_factor(trait: str, share_class: str) -> float:
    """How much likelier a class of fault is at a place of this trait (1 when nothing is known)."""
    factor = 1.0
    for r in rows("traits"):
        if r["trait"] == trait.lower() and (r["classes"] == "*" or share_class in r["classes"].split("|")):
            factor *= float(r["factor"])
    return factor
