"""What stands while a reading is taken, and the circuit as it is then."""

from __future__ import annotations

from dataclasses import dataclass, replace

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.solved.feeds import fitted


@dataclass(frozen=True, slots=True)
class Moment:
    """A time within a phase, seconds from its beginning."""

    phase: str
    after_s: float


@dataclass(frozen=True, slots=True)
class Conditions:
    """What stands while a reading is taken: plugs apart, fuses pulled, relays out, requests on or off.

    `feed`: its name or its words; `replaced`: parts for which a good one stands in. `renewed`: parts
    exchanged on an earlier line, and metals mended where they touched (`W5.out`); nobody says them again, and
    they stay. `moment`: when in the phase it was, where that was told; None is its end.
    """

    unplugged: tuple[str, ...] = ()
    pulled: tuple[str, ...] = ()
    out: tuple[str, ...] = ()
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    feed: str | None = None
    replaced: tuple[str, ...] = ()
    renewed: tuple[str, ...] = ()
    moment: Moment | None = None

    @property
    def as_told(self) -> Conditions:
        """What was said to stand."""
        return replace(self, renewed=()) if self.renewed else self


PLAIN = Conditions()  # the vehicle as it is found


def as_it_stands(circuit: Circuit, c: Conditions) -> Circuit:
    """The circuit with the feed fitted, and the phase of the moment ending then."""
    there, moment = fitted(circuit, c.feed), c.moment
    if moment is None:
        return there
    cycle = drive_cycle(there)
    ends = (replace(p, duration_s=moment.after_s) if key(p.name) == key(moment.phase) else p for p in cycle)
    return replace(there, phases=tuple(ends))
