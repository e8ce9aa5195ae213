"""What is known after the readings: what `suspects`, `next` and `findings` are made from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.belief import Posterior
from amptrail.circuit.model import Circuit, Fault, WorkedOn
from amptrail.errors import Problem
from amptrail.faults import Hypothesis as Cause
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.predict import Evidence, Suspect
from amptrail.jobs.solved.acting import left
from amptrail.jobs.solved.conditions import Conditions
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
    renewed: tuple[str, ...] = ()  # parts exchanged so far
    pairs_weighed: int = 0  # of two faults at once; those without a say are no suspects
    # of a sheet with variants: the same by each drawing alone, and the drawing that each suspect is of
    each: tuple[Judgement, ...] = ()
    drawn_by: tuple[int, ...] = ()

    def now(self, faults: Sequence[Fault]) -> tuple[Fault, ...]:
        """Those of the faults that are still in the vehicle."""
        return left(tuple(faults), Conditions(renewed=self.renewed))

    def circuit_of(self, h: int) -> Circuit:
        """The circuit on which this suspect is weighed."""
        return self.each[self.drawn_by[h]].circuit if self.each else self.circuit

    @property
    def by_drawing(self) -> tuple[float, ...]:
        """Probability of each drawing; empty for a sheet without variants."""
        mass = [0.0] * len(self.each)
        for d, p in zip(self.drawn_by, self.post.probability, strict=False):
            mass[d] += float(p)
        total = max(sum(mass), 1e-300)
        return tuple(m / total for m in mass)

    @property
    def leading(self) -> Judgement:
        """The judgement by the likeliest drawing alone: what is proven or repaired is so by one of them."""
        shares = self.by_drawing
        return self.each[shares.index(max(shares))] if shares else self

    def comes_and_goes(self, h: int) -> bool:
        """Whether this suspect is a fault that shows at some tries only."""
        return self.post.table.hypotheses[h].showing < 1.0

    def to_repair(self, h: int) -> tuple[Cause, ...]:
        """The causes of a suspect that are not repaired yet: of a fuse that a short has blown the open fuse,
        when the short is mended."""
        still = [(c, self.now(c.faults)) for c in self.suspects[h].causes]
        return tuple(
            (self._alone(here) or c) if here != c.faults else c for c, here in still if here or not c.faults
        )

    def _alone(self, faults: tuple[Fault, ...]) -> Cause | None:
        """The cause on the list that is these faults and no more."""
        alone = (s.causes[0] for s in self.suspects if len(s.causes) == 1)
        return next((c for c in alone if c.faults == faults), None)
