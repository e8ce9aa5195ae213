"""What is known after the readings: what `suspects`, `next` and `findings` are made from."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.belief import Posterior
from amptrail.circuit.model import Circuit, WorkedOn
from amptrail.errors import Problem
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.predict import Evidence, Suspect
from amptrail.jobs.solved.own import STANDARD, Own


@dataclass(frozen=True, eq=False)
class Judgement:
    """Suspects and posterior run side by side: `post.probability[h]` belongs to `suspects[h]`. `worked` and
    `history` are what moved the priors."""

    circuit: Circuit
    suspects: tuple[Suspect, ...]
    seen: Evidence
    ignored: tuple[tuple[int, str], ...]
    problems: tuple[Problem, ...]
    post: Posterior
    worked: tuple[WorkedOn, ...] = ()
    history: History = NONE
    own: Own = STANDARD  # the instruments in the hands of who asks
