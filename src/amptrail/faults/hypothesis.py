"""One thing that may be wrong, with all that is known of it before the first reading."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.circuit.model import Fault, Term


@dataclass(frozen=True, slots=True)
class Look:
    """What the eye would see: `hit` chance to see it when so, `false` chance to think so when not."""

    words: str
    hit: float
    false: float


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A cause: one fault, or several joined by a common cause. No faults: nothing is broken.

    `prior` is the chance of this cause in a job (see `reference.priors.SINGLES_TOTAL` for the sum).
    `severity`: ohm range of the faults whose `ohm` is None, flat in log-ohm. Hypotheses of one `group`
    have the same repair. `repair_minutes` includes reaching the place. `share_class` names the statistic.
    """

    id: str
    faults: tuple[Fault, ...]
    prior: float
    group: str
    repair: str
    repair_minutes: float
    severity: tuple[float, float] | None = None
    intermittent: float = 0.0
    looks: tuple[Look, ...] = ()
    hurts: str = ""
    share_class: str = ""
    part: str = ""
    place: str | None = None

    @property
    def minutes(self) -> float:
        """Minutes to repair."""
        return self.repair_minutes


def label(term: Term) -> str:
    """A term as an id: `K4.87`, `W1`."""
    return str(term) if term.name else term.part
