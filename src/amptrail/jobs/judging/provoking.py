"""A fault that comes and goes: it is waited for with the leads on (*watch*), or brought about by hand
(*provoke*). A reading taken while everything works would tell nothing of it (DESIGN 7, 8)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from amptrail.circuit.model import Part, Term, key
from amptrail.jobs.evidence import intermittent, moving
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.judging.offers import asked
from amptrail.jobs.judging.panel import Candidate, Live
from amptrail.jobs.judging.trials import failing_functions
from amptrail.jobs.solved.access import place_of_part
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import never
from amptrail.jobs.solved.observe import Observation

MOSTLY = 0.5  # belief in what comes and goes from which every test waits for it
MOST_MOVED = 6
MOVE_MIN = 1.0  # to take hold of it and move it while somebody or something watches (common practice)
MOVED = ("connector", "box", "splice", "joint", "ground", "fuse", "link", "relay", "switch", "wire")
TRY_MIN, MOST_TRIES = 0.7, 10.0  # minutes of one more try; so many are waited for at most (common practice)
CHOICES = ((moving.JUMPS, moving.JUMPS), (moving.STAYS, moving.STAYS))


def waits(j: Judgement, alive: Live) -> bool:
    """Whether what is believed comes and goes, so that a reading is to be taken while it fails."""
    if not intermittent.told(j.seen):
        return False
    mass = sum(float(p) for h, p in zip(alive.index, alive.probability, strict=True) if j.comes_and_goes(h))
    return mass > MOSTLY * float(alive.probability.sum())


def wait_min(seen: Sequence[Observation]) -> float:
    """Minutes until it fails, by the tries that were counted; every second try where nobody counted."""
    counts = [o.good_of for o in seen if o.good_of is not None]
    good, tries = (sum(c[k] for c in counts) for k in (0, 1))
    fails = (tries - good + 0.5) / (tries + 1.0)
    return float(TRY_MIN * min(1.0 / fails, MOST_TRIES))


def watched(t: Candidate, wait: float) -> Candidate:
    """The test done while it fails: the leads are on and it is tried until it does. What depends on no try
    is left."""
    if t.said is not None and t.said.kind in ("looks", "moved"):
        return t
    return replace(t, failing=True, minutes=t.minutes + wait)


def provoked(j: Judgement, alive: Live) -> Iterator[Candidate]:
    """Parts moved by hand, the likeliest first, while what fails is watched."""
    functions = failing_functions(j)
    if not functions:
        return
    m, phase = functions[0]
    mass: dict[str, float] = {}
    for h, p in zip(alive.index, alive.probability, strict=True):
        if j.comes_and_goes(h):
            for name in {key(f.at.part) for c in j.suspects[h].causes for f in c.faults}:
                mass[name] = mass.get(name, 0.0) + float(p)
    parts = {key(p.name): p for p in j.circuit.parts}
    likely = sorted((n for n in mass if _may_be_moved(j, parts.get(n))), key=lambda n: -mass[n])
    for name in likely[:MOST_MOVED]:
        part = parts[name]
        said = Observation(0, "", "moved", phase, part=part.name)
        yield replace(
            asked(j.circuit, m, phase, Conditions(), "measure"), place=place_of_part(j.circuit, part),
            minutes=MOVE_MIN, how="move", said=said, choices=CHOICES,
        )  # fmt: skip


def _may_be_moved(j: Judgement, part: Part | None) -> bool:
    return part is not None and part.kind in MOVED and not never(j.circuit, Term(part.name, ""))
