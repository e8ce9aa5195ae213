"""Explanations that no allowed test can tell apart are one line (CHECKS A14)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from amptrail.belief import equivalent
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.judging.bypasses import in_fuse_place
from amptrail.jobs.judging.offers import measured
from amptrail.jobs.judging.panel import Candidate, Live, live, panel
from amptrail.jobs.solved.spots import Spot

INSTRUMENTS = ("meter", "loaded", "clamp")
MOST_FUSES = 2  # the likeliest; each is one more way to run every explanation


@dataclass(frozen=True, slots=True)
class Group:
    """Indices into the judgement's suspects, heaviest first, and their probability together."""

    members: tuple[int, ...]
    probability: float


def _in_fuse_places(j: Judgement, alive: Live, phases: Sequence[int]) -> Iterator[Candidate]:
    """Volts behind a lamp in the place of a fuse that may be open: a short behind it reads otherwise than a
    fuse that is merely open, though the vehicle is as dead with either."""
    blamed = dict.fromkeys(f.at.part for h in alive.index for c in j.suspects[h].causes for f in c.faults)
    fuses = [p for name in blamed for p in j.circuit.parts if p.name == name and p.kind == "fuse"]
    for b in [b for p in fuses[:MOST_FUSES] for b in in_fuse_place(j.circuit, p)]:
        if b.meter_at is not None:
            spot = Spot(str(b.meter_at), "volts", b.meter_at)
            place = b.part.place or ""
            yield from (Candidate(spot, "meter", p, b.conditions, place, b.minutes, b.how) for p in phases)


def merge(j: Judgement) -> list[Group]:
    """The judgement's live explanations, those that read alike everywhere as one, heaviest first."""
    alive = live(j)
    phases = range(len(drive_cycle(j.circuit)))
    tests = [*measured(j.circuit, phases, INSTRUMENTS, ()), *_in_fuse_places(j, alive, phases)]
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
