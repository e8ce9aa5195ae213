"""What several rules say alike."""

from __future__ import annotations

from amptrail.feed.functions import Finding
from amptrail.feed.marks import Mark

DEAD_V = 3.0  # below this a function is dead, not merely weak (common practice)


def function_mark(rule: str, f: Finding) -> Mark:
    """A function that must be on (or off) as a mark: volts against its band, or a signal."""
    x = f.instant
    if f.must.module:
        return Mark(rule, f.start, x.phase_name, f.must.name, f.value, f.limit, "on", f.ok, "is")
    side = "least" if f.wanted == "on" else "most"
    figure = f.value if f.wanted == "on" else abs(f.value)
    return Mark(rule, f.start, x.phase_name, f.must.name, figure, f.limit, "V", f.ok, side)  # type: ignore[arg-type]


def only_low(f: Finding) -> bool:
    """Whether a function that fails has volts, only too few: a matter of drop, not of a dead feed."""
    return f.must.module is None and f.value > DEAD_V
