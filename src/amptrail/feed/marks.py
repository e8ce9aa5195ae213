"""What a rule finds: a figure beside its limit, broken or kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Purpose = Literal["try", "home", "leave"]  # attended minutes; one drive; handed over
Severity = Literal["refuse", "note", "off"]
Side = Literal["most", "least", "is"]
Severities = dict[Purpose, Severity]
PURPOSES: tuple[Purpose, ...] = get_args(Purpose)
ALWAYS: Severities = {"try": "refuse", "home": "refuse", "leave": "refuse"}


@dataclass(frozen=True, slots=True)
class Mark:
    """One figure of one rule. `side`: the figure may be at most the limit, must be at least it, or must be it
    (1 on, 0 off). `severity`: for this one finding instead of the rule's own. `more`: what else a
    sentence needs, as (word, text) pairs."""

    rule: str
    start: str
    phase: str
    part: str
    figure: float
    limit: float
    unit: str
    ok: bool
    side: Side = "most"
    severity: Severity | None = None
    more: tuple[tuple[str, str], ...] = ()

    @property
    def margin(self) -> float:
        """Distance to the limit as a share of it, below zero when broken; 1 or -1 without a figure."""
        if self.side == "is" or self.limit == 0:
            return 1.0 if self.ok else -1.0
        gap = self.limit - self.figure if self.side == "most" else self.figure - self.limit
        return gap / abs(self.limit)

    @property
    def where(self) -> tuple[str, str, str, str]:
        """What makes two marks the same finding."""
        return (self.rule, self.start, self.phase, self.part)


def most(rule: str, start: str, phase: str, part: str, figure: float, limit: float, unit: str,
         **more: str) -> Mark:  # fmt: skip
    """A figure that may be at most its limit."""
    return Mark(
        rule, start, phase, part, figure, limit, unit, figure <= limit, "most", None, tuple(more.items())
    )


def least(rule: str, start: str, phase: str, part: str, figure: float, limit: float, unit: str,
          **more: str) -> Mark:  # fmt: skip
    """A figure that must be at least its limit."""
    return Mark(
        rule, start, phase, part, figure, limit, unit, figure >= limit, "least", None, tuple(more.items())
    )


def state(rule: str, start: str, phase: str, part: str, is_so: bool, wanted: bool, **more: str) -> Mark:
    """Something that must be on, or must be off."""
    return Mark(rule, start, phase, part, float(is_so), float(wanted), "on", is_so == wanted, "is", None,
                tuple(more.items()))  # fmt: skip
