"""Explanations that no allowed test can tell apart are one line (CHECKS A14)."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.belief import equivalent
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.judgement import Judgement
from amptrail.jobs.offers import measured
from amptrail.jobs.panel import live, panel

INSTRUMENTS = ("meter", "loaded", "clamp")


@dataclass(frozen=True, slots=True)
class Group:
    """Indices into the judgement's suspects, heaviest first, and their probability together."""

    members: tuple[int, ...]
    probability: float


def merge(j: Judgement) -> list[Group]:
    """The judgement's live explanations, those that read alike everywhere as one, heaviest first."""
    alive = live(j)
    tests = measured(j.circuit, range(len(drive_cycle(j.circuit))), INSTRUMENTS, ())
    p = panel(j, alive, tests)
    if not tests:
        return [Group((h,), float(j.post.probability[h])) for h in alive.index]
    low, high = p.value.min(axis=1), p.value.max(axis=1)
    # a discrete cause has one row; the middle of a severity is what it most likely reads
    middle = p.value[:, 1]
    found = equivalent(middle, middle, p.sigma) if low.shape == high.shape else ()
    out = [
        Group(tuple(alive.index[i] for i in g), float(sum(alive.probability[i] for i in g))) for g in found
    ]
    return sorted(out, key=lambda g: -g.probability)
