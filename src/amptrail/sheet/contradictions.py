"""Readings of one point that differ by more than a person would shrug at: said, and both kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from amptrail.errors import Problem

if TYPE_CHECKING:
    from amptrail.sheet.readings import Reading

FAR_SHARE, FAR_V = 0.2, 0.3  # apart by more: not the same reading (common practice)
REMEDY = "mark the older one `old`, or say `while failing` or `fluctuates`"


def contradictions(items: Sequence[Reading]) -> list[Problem]:
    """A warning for each reading unlike an earlier one at the same point, on the same vehicle."""
    seen: dict[tuple[Any, ...], Reading] = {}
    found = []
    for r in items:
        if r.kind in ("replaced", "repaired"):  # from here on of another vehicle
            seen.clear()
        if r.kind not in ("reading", "works") or r.quality or r.while_failing is not None or r.ok is not None:
            continue
        k = (r.kind, r.a, r.b, r.phase, r.instrument, r.other_lead, r.lamp_w, r.conditions, r.whose)
        old = seen.setdefault(k, r)
        if _far(old.value, r.value) or (old.word != r.word and old.word and r.word):
            said = f"this differs from line {old.line} at the same point"
            found.append(Problem("contradicts", said, r.line, 1, "warning", remedy=REMEDY))
    return found


def _far(old: float | None, new: float | None) -> bool:
    return old is not None and new is not None and abs(old - new) > FAR_SHARE * abs(old) + FAR_V
