"""What is known after the readings: what `suspects`, `next` and `findings` are made from."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.belief import Posterior
from amptrail.circuit.model import Circuit
from amptrail.errors import Problem
from amptrail.jobs.predict import Evidence, Suspect


@dataclass(frozen=True, eq=False)
class Judgement:
    """Suspects and posterior run side by side: `post.probability[h]` belongs to `suspects[h]`."""

    circuit: Circuit
    suspects: tuple[Suspect, ...]
    seen: Evidence
    ignored: tuple[tuple[int, str], ...]
    problems: tuple[Problem, ...]
    post: Posterior
