"""Explanations that no allowed test can tell apart are one line (CHECKS A14)."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import equivalent
from amptrail.circuit.model import key
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.looks import FUSES
from amptrail.jobs.judging.bypasses import in_fuse_place
from amptrail.jobs.judging.offers import measured
from amptrail.jobs.judging.panel import Candidate, Live, live, panel
from amptrail.jobs.solved.spots import Spot
from amptrail.sheet.words import name_text

TEN = math.log(10.0)
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


def _as_looked(j: Judgement, members: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Members apart where a look has told them apart ten to one: no instrument knows a blown fuse from an
    empty slot, the eye does."""
    columns = [w for w, o in enumerate(j.seen.words) if o.kind in ("looks", "moved")]
    seen = {h: _looked(j, h, columns) for h in members}
    return _alike(members, lambda a, b: float(np.abs(seen[a] - seen[b]).max(initial=0.0)))


def _as_tried(j: Judgement, members: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Members apart where what was read in another state of the vehicle told them apart ten to one: with a
    plug parted or a part out, within a phase, or before a repair (what is repaired reads as if nothing had
    been broken)."""
    states = [o.conditions for o in j.seen.all]
    if not j.renewed and not any(c.unplugged or c.out or c.pulled or c.moment for c in states):
        return iter([tuple(members)])
    nats = j.post.log_evidence
    return _alike(members, lambda a, b: abs(float(nats[a] - nats[b])))


def _alike(members: Sequence[int], nats_apart: Callable[[int, int], float]) -> Iterator[tuple[int, ...]]:
    """Members in parts: in each those that are less than ten to one from its first."""
    left = list(members)
    while left:
        same = [h for h in left if nats_apart(h, left[0]) < TEN]
        yield tuple(same)
        left = [h for h in left if h not in same]


def _looked(j: Judgement, h: int, columns: Sequence[int]) -> NDArray[np.float64]:
    p = j.post.table.hypotheses[h].prediction.words
    return p[:, columns].max(axis=0) if p is not None and columns else np.zeros(0)


def said(j: Judgement, members: Sequence[int], text: str) -> str:
    """The words of a group for a person: a fuse that is blown or missing is both until somebody looks."""
    fuses = {key(p.name): p.name for p in j.circuit.parts if p.kind in FUSES}
    ways: dict[str, set[str]] = {}
    for h in members:
        faults = [f for c in j.suspects[h].causes for f in c.faults]
        if len(faults) == 1 and key(faults[0].at.part) in fuses:
            ways.setdefault(fuses[key(faults[0].at.part)], set()).add(faults[0].mode)
    both = [name for name, modes in ways.items() if modes >= {"open", "missing"}]
    alone = {f"{name_text(n)} {mode}": n for n in both for mode in ("open", "missing")}
    told = f"{name_text(alone[text])} blown or missing" if text in alone else text
    too = any(f.stays for c in j.suspects[members[0]].causes for f in c.faults)
    return f"{told}, the new one too" if too else told


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
    number = {h: i for i, h in enumerate(alive.index)}
    out = [
        Group(part, float(sum(alive.probability[number[h]] for h in part)))
        for g in found
        for seen in _as_looked(j, [alive.index[i] for i in g])
        for part in _as_tried(j, seen)
    ]
    return sorted(_of_all_drawings(j, out) if j.each else out, key=lambda g: -g.probability)


def _of_all_drawings(j: Judgement, found: Sequence[Group]) -> list[Group]:
    """Groups led by the same fault by one drawing and by another are one: its repair is the same."""
    led: dict[str, list[Group]] = {}
    for g in sorted(found, key=lambda g: -g.probability):
        led.setdefault(j.suspects[g.members[0]].key, []).append(g)
    return [
        Group(tuple(m for g in mine for m in g.members), sum(g.probability for g in mine))
        for mine in led.values()
    ]
