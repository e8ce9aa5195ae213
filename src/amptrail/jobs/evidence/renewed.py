"""Parts exchanged so far: what the new one cures is gone from its line on, unless the new one has it too.

Only causes with a share in a renewed part are run a second time; for all others nothing has changed, and
their readings before and after keep the tolerances they share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from amptrail.belief import Table
from amptrail.circuit.model import Circuit, Fault, key
from amptrail.jobs.evidence.predict import Evidence, Suspect, solve_all, table
from amptrail.jobs.solved.acting import cured
from amptrail.jobs.solved.observe import Observation

IN_VAIN = 0.05  # the new part is as bad, or the exchange was botched (common practice)


def with_new_ones(base: Sequence[Suspect], renewed: Sequence[str]) -> tuple[Suspect, ...]:
    """The causes of `base` that a new part would have cured, as they are where the new part has them too."""
    return tuple(_kept(base[i]) for i in touched(base, renewed))


def touched(suspects: Sequence[Suspect], renewed: Sequence[str]) -> list[int]:
    """Which suspects have a fault that one of these new parts has taken away."""
    new = {key(x) for x in renewed}
    return [i for i, s in enumerate(suspects) if new and any(_of(f, new) for c in s.causes for f in c.faults)]


def _of(f: Fault, new: set[str]) -> bool:
    return cured(f, tuple(new)) and not f.stays


def _kept(s: Suspect) -> Suspect:
    causes = tuple(replace(c, faults=_stay(c.faults), prior=c.prior * IN_VAIN) for c in s.causes)
    return replace(s, causes=causes, rows=tuple(_stay(r) for r in s.rows), prior=s.prior * IN_VAIN)


def _stay(faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    return tuple(replace(f, stays=True) for f in faults)


def new_by(seen: Evidence) -> tuple[str, ...]:
    """The parts that were new at some reading."""
    return max((o.conditions.renewed for o in seen.all), key=len, default=())


def as_told(seen: Evidence) -> Evidence:
    """The same readings as those hear them for whom no new part changes anything."""

    def plain(some: Sequence[Observation]) -> tuple[Observation, ...]:
        return tuple(replace(o, conditions=o.conditions.as_told) for o in some)

    return Evidence(plain(seen.numbers), plain(seen.words))


def weighed(
    circuit: Circuit, suspects: Sequence[Suspect], seen: Evidence, healthy: int | None = None,
    keep: bool = False,
) -> Table:  # fmt: skip
    """The belief table of suspects and readings, the vehicle run for each as it was at each reading."""
    told = as_told(seen) if (new := new_by(seen)) else seen
    whole = table(circuit, suspects, told, solve_all(circuit, suspects, told, keep), healthy)
    index = touched(suspects, new)
    if not index:
        return whole
    some = [suspects[i] for i in index]
    anew = table(circuit, some, seen, solve_all(circuit, some, seen, keep=False), None).hypotheses
    there = dict(zip(index, anew, strict=True))
    return replace(whole, hypotheses=tuple(there.get(i, h) for i, h in enumerate(whole.hypotheses)))
