"""Faults are run as lanes under standing conditions, and kept for the next question."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from amptrail.circuit.model import Circuit
from amptrail.jobs.base.kept import MEBIBYTE, Kept
from amptrail.jobs.solved.acting import Faults, acting
from amptrail.jobs.solved.conditions import Conditions, as_it_stands
from amptrail.jobs.solved.predicted import Solved
from amptrail.jobs.solved.session import session


def _bytes(got: Solved) -> int:
    """Memory of solved lanes: their overlays and phase ends (what only chatter fills is mostly untouched)."""
    s = got.runs.snapshot
    ends = sum(a.nbytes for a in (s.volts, s.amps, s.x, s.state, s.prev, s.until, s.copies))
    return int(ends + sum(a.nbytes for a in got.runs.lanes))


SOLVED: Kept[Solved] = Kept(384 * MEBIBYTE, _bytes)


def solved(circuit: Circuit, rows: Sequence[Faults], conditions: Conditions, keep: bool = True) -> Solved:
    """Every row of faults run for two drive cycles under standing conditions; kept for the next question."""
    if not keep:
        return _solved(circuit, rows, conditions)
    many = Rows(rows)
    asked = (circuit, many, conditions)
    return SOLVED.get(asked) or SOLVED.put(asked, _solved(circuit, many, conditions))


def known(circuit: Circuit, rows: Rows, conditions: Conditions) -> Solved | None:
    """These rows if they have been run and are kept."""
    return SOLVED.get((circuit, rows, conditions))


class Rows(tuple[Faults, ...]):
    """Rows of faults whose hash is worked out once: thousands of them are the key of what was solved."""

    _hash: int

    def __new__(cls, rows: Iterable[Faults]) -> Rows:
        return rows if isinstance(rows, Rows) else super().__new__(cls, rows)

    def __hash__(self) -> int:
        if not hasattr(self, "_hash"):
            self._hash = tuple.__hash__(self)
        return self._hash


def _solved(circuit: Circuit, rows: Sequence[Faults], conditions: Conditions) -> Solved:
    s = session(as_it_stands(circuit, conditions))
    extra = s.condition_changes(conditions)
    if conditions != Conditions():
        rows = [acting(circuit, r, conditions) for r in rows]
    return Solved(s, s.run([s.lane(r) + extra for r in rows], "asleep", 2))
