"""Blocks that several papers share."""

from __future__ import annotations

import math

from amptrail.paper.blocks import Block, Mark, Pairs
from amptrail.paper.facts import CaseFacts, Check
from amptrail.paper.words import amount, say


def head(f: CaseFacts) -> Block:
    """Which job, which vehicle, when, by whom, what was complained of."""
    rows = [(say("common.job"), f.job), (say("common.vehicle"), f.vehicle or say("common.not_said")),
            (say("common.date"), f.date)]  # fmt: skip
    if f.by:
        rows.append((say("common.by"), f.by))
    rows.append((say("common.complaint"), f.complaint or say("common.not_said")))
    return Pairs(tuple(rows))


def mark(c: Check) -> Mark:
    """The tick of a check: nobody has looked is neither."""
    return "open" if c.shown is None else "yes" if c.shown else "no"


def under(f: CaseFacts) -> str:
    """The line at the foot of every page."""
    return say("common.under", job=f.job, date=f.date)


def minutes(value: float | None) -> str:
    """Minutes, rounded up to five from a quarter of an hour on: finer would be false precision."""
    if value is None:
        return say("common.not_said")
    shown = value if value < 15 else -(-value // 5) * 5
    return say("common.minutes", minutes=f"{shown:.0f}")


def span(expected: float | None, p80: float | None) -> str:
    """Expected minutes with the figure that eight jobs of ten stay within."""
    if expected is None or p80 is None:
        return minutes(expected)
    up = [-(-v // 5) * 5 for v in (expected, p80)]
    return say("common.range", minutes=f"{up[0]:.0f}", p80=f"{max(up):.0f}")


# Eight times of ten the work of hands stays within so much of the minutes of a table (common practice)
HANDS_80 = 1.4


def within(certain: float, expected: float = 0.0, p80: float = 0.0) -> float:
    """Minutes that eight jobs of ten stay within: so many by hand, and the looking for a cause with its
    expected minutes and 80 % figure. What lies beyond the expected does not come together: it adds as squares
    do."""
    beyond = math.hypot((HANDS_80 - 1.0) * certain, max(p80 - expected, 0.0))
    return certain + expected + beyond


def money(f: CaseFacts, min_: float | None) -> str:
    """What so many minutes cost at the rate told, or nothing."""
    if f.rate_per_hour is None or min_ is None:
        return ""
    return price(f, f.rate_per_hour * (-(-min_ // 5) * 5) / 60)


def costs(f: CaseFacts, expected: float, p80: float) -> str:
    """What the expected minutes cost, and what eight jobs of ten stay within; nothing without a rate."""
    low, high = money(f, expected), money(f, p80)
    return low if low == high else say("common.costs", price=low, p80=high)


def price(f: CaseFacts, value: float) -> str:
    """Money with its currency, as the language writes it."""
    return f"{amount(value)} {f.currency}".strip()
