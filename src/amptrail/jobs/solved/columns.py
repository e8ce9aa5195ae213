"""Readings of solved lanes, each predicted once: what earlier lines of a readings file asked is kept.

Entering one reading after another asks for the same columns again and again; only the newest is worked out.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.jobs.base.kept import MEBIBYTE
from amptrail.jobs.solved.pick import read_at
from amptrail.solve.network import Network
from amptrail.solve.readings import Tap
from amptrail.solve.runs import Runs
from amptrail.solve.settle import CHATTER
from amptrail.solve.tolerance import each, ohm_sigma

Array = NDArray[np.float64]
Asked = tuple[Tap, int]  # an instrument and a phase slot
OVER_RANGE_OHM = 20e6
# what swings is read as an average, somewhere in the middle half of the swing (common practice): that half is
# so many standard deviations of a uniform distribution wide
MIDDLE_HALF, UNIFORM = 0.5, 12**0.5
MOST_EFFECTS = 64 * MEBIBYTE  # of one parameter table a reading; what exceeds it is worked out again


@dataclass(frozen=True, eq=False, slots=True)
class Column:
    """One reading on every lane, V, A or ohm, and what its instrument switches on the first lane; `unsteady`:
    one sigma of the average that is read where nothing comes to rest, 0 elsewhere."""

    value: Array
    unsteady: Array
    disturbs: tuple[str, ...]


class Columns:
    """Readings of the lanes of one run, kept."""

    def __init__(self, network: Network, runs: Runs) -> None:
        self.network, self.runs = network, runs
        self._columns: dict[Asked, Column] = {}
        self._effects: OrderedDict[tuple[Tap, int, bool], Array] = OrderedDict()

    def read(self, asked: Sequence[Asked]) -> list[Column]:
        """The readings asked. A lane without a steady value gives the middle of its range; over range gives
        20 Mohm."""
        new = [x for x in dict.fromkeys(asked) if x not in self._columns]
        if new:
            taps = list(dict.fromkeys(t for t, _ in new))
            number = {t: n for n, t in enumerate(taps)}
            got = read_at(self.network, self.runs, taps, [(slot, number[t]) for t, slot in new])
            restless = got.status == CHATTER
            value = np.where(restless, (got.low + got.high) / 2, got.value)
            unsteady = np.where(restless, MIDDLE_HALF / UNIFORM * (got.high - got.low), 0.0)
            value = np.where(got.over, OVER_RANGE_OHM, value)
            switched = got.changed[0].any(axis=2) if len(value) else np.zeros(value.shape[1:], bool)
            for t, slot in new:
                n = number[t]
                names = got.disturbs(0, slot, n) if switched[slot, n] else ()
                here = [np.ascontiguousarray(a[:, slot, n]) for a in (value, unsteady)]
                self._columns[t, slot] = Column(here[0], here[1], names)
        return [self._columns[x] for x in asked]

    def covariance(self, asked: Sequence[Asked], fixed: Sequence[bool]) -> Array:
        """[lane, m, m] of the readings asked; `fixed[m]`: the supply was read at that moment, so its own
        tolerance is left out. Tolerances shared by readings stay shared; what does not rest is each time
        read as another average."""
        out = np.zeros((len(self.runs.status), len(asked), len(asked)))
        columns = self.read(asked)
        live = [m for m, (t, _) in enumerate(asked) if t.instrument != "ohmmeter"]
        effects = self._of([(*asked[m], bool(fixed[m])) for m in live])
        for i, m in enumerate(live):
            for j in range(i + 1):
                both = np.einsum("np,np->n", effects[i], effects[j])
                out[:, m, live[j]] = out[:, live[j], m] = both
        for m, (t, _) in enumerate(asked):
            if t.instrument == "ohmmeter":
                out[:, m, m] = ohm_sigma(columns[m].value) ** 2
            out[:, m, m] += columns[m].unsteady ** 2
        return out

    def _of(self, wanted: Sequence[tuple[Tap, int, bool]]) -> list[Array]:
        """One sigma of every parameter as a change of each reading [lane, parameter]."""
        new = [x for x in dict.fromkeys(wanted) if x not in self._effects]
        here = {x: self._effects[x] for x in wanted if x in self._effects}
        if new:
            ends = [(t, slot) for t, slot, _ in new]
            value = np.stack([c.value for c in self.read(ends)], axis=1)
            rows = each(self.network, self.runs, ends, value, [f for *_, f in new])
            here |= {x: np.ascontiguousarray(rows[:, m]) for m, x in enumerate(new)}
        for x in wanted:
            self._effects[x] = here[x]
            self._effects.move_to_end(x)
        while len(self._effects) > 1 and sum(a.nbytes for a in self._effects.values()) > MOST_EFFECTS:
            self._effects.popitem(last=False)
        return [here[x] for x in wanted]
