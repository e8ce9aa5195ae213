"""Parts exchanged so far: what the new one cures is gone from its line on, unless the new one has it too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from amptrail.circuit.model import Fault, key
from amptrail.jobs.evidence.predict import Suspect
from amptrail.jobs.solved.engine import curable

IN_VAIN = 0.05  # the new part is as bad, or the exchange was botched (common practice)


def with_new_ones(base: Sequence[Suspect], renewed: Sequence[str]) -> tuple[Suspect, ...]:
    """The causes of `base` that a new part would have cured, as they are where the new part has them too."""
    new = {key(x) for x in renewed}
    return tuple(_kept(s) for s in base if any(_of(f, new) for c in s.causes for f in c.faults))


def _of(f: Fault, new: set[str]) -> bool:
    return key(f.at.part) in new and curable(f)


def _kept(s: Suspect) -> Suspect:
    causes = tuple(replace(c, faults=_stay(c.faults), prior=c.prior * IN_VAIN) for c in s.causes)
    return replace(s, causes=causes, rows=tuple(_stay(r) for r in s.rows), prior=s.prior * IN_VAIN)


def _stay(faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    return tuple(replace(f, stays=True) for f in faults)
