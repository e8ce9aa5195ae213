"""Predictions beside readings: the tables belief takes, filled from the solver.

For every hypothesis and severity one lane; lanes that share standing conditions and feed are solved
together. Every number is an exact re-solve with the instrument in place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Grid, Hypothesis, Prediction, Reading, Table, Word, other_weights, single_grid
from amptrail.belief.tables import double_grid
from amptrail.circuit.model import Circuit, Fault
from amptrail.faults import Hypothesis as Cause
from amptrail.jobs.evidence import moving, words
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.predicted import WRONG_PHASES, WRONG_PLACES, WRONG_POINTS, Solved

Array = NDArray[np.float64]
GRID_POINTS = 17
DOUBLE_POINTS = 5
OPEN_ENDED = ("resistance", "to_ground", "to_supply", "to_point")
MISPROBE, UNSURE, DARK, STATIC = 0.03, 0.3, 0.06, 0.1  # common practice; learned from proven jobs later
# a word said of something else is any of the answers that could have been given
SLIP = {"works": 1 / 2, "clicks": 1 / 2, "answers": 1 / 2, "lit": 1 / 3, "looks": 1 / 2, "felt": 1 / 3}
SLIP_OTHER = 0.3
UNDRAWN = 0.02  # vehicles that are not as drawn (common practice)
WHOSE = {"mine": 1.0, "shop": 2.0, "customer": 4.0}  # how much likelier another's reading is a slip


def with_severity(faults: Sequence[Fault], ohms: Sequence[float]) -> tuple[Fault, ...]:
    """The faults with their open-ended resistances set in order (the last value serves any that are left)."""
    left, out = list(ohms), []
    for f in faults:
        if f.mode in OPEN_ENDED and f.ohm is None and left:
            out.append(replace(f, ohm=left[0]))
            left = left[1:] or left
        else:
            out.append(f)
    return tuple(out)


@dataclass(frozen=True, eq=False)
class Suspect:
    """One hypothesis as lanes: its cause(s), its grid, and the faults of every grid row."""

    causes: tuple[Cause, ...]
    grid: Grid
    rows: tuple[tuple[Fault, ...], ...]
    prior: float

    @property
    def key(self) -> str:
        return " and ".join(c.id for c in self.causes)


def single(cause: Cause, points: int = GRID_POINTS) -> Suspect:
    """A cause over its severity range, or as it stands."""
    if not cause.severity:
        return Suspect((cause,), Grid(), (cause.faults,), cause.prior)
    grid = single_grid(*cause.severity, points)
    return Suspect((cause,), grid, _at_each(cause, points), cause.prior)


@lru_cache(maxsize=4096)
def _at_each(cause: Cause, points: int) -> tuple[tuple[Fault, ...], ...]:
    """The faults of a cause at each severity; as they stand for a discrete one."""
    if not cause.severity:
        return (cause.faults,)
    axis = single_grid(*cause.severity, points).axes[0]
    return tuple(with_severity(cause.faults, [float(x)]) for x in 10.0**axis)


def double(a: Cause, b: Cause, points: int = DOUBLE_POINTS) -> Suspect:
    """Two causes at once; the prior is the product of both."""
    rows = tuple(x + y for x in _at_each(a, points) for y in _at_each(b, points))
    if a.severity and b.severity:
        grid = double_grid(a.severity, b.severity, points)
    else:
        range_ohm = a.severity or b.severity
        grid = single_grid(*range_ohm, points) if range_ohm else Grid()
    return Suspect((a, b), grid, rows, a.prior * b.prior)


def _segmented(grid: Grid, state: NDArray[np.int64]) -> Grid:
    """The grid with its rows told apart by discrete state; on one axis a cut half-way between neighbours."""
    if not grid.axes or len(np.unique(state)) == 1:
        return grid
    if len(grid.axes) > 1:
        _, first, inverse = np.unique(state, return_index=True, return_inverse=True)
        # numbered as they come: grids that are parted alike are laid out together
        number = np.argsort(np.argsort(first))
        return replace(grid, segment=number[inverse.reshape(-1)].astype(np.int64))
    change = np.flatnonzero(np.diff(state) != 0)
    segment = np.concatenate([[0], np.cumsum(np.diff(state) != 0)]).astype(np.int64)
    x = grid.axes[0]
    return replace(grid, segment=segment, cuts=tuple(float((x[i] + x[i + 1]) / 2) for i in change))


@dataclass(frozen=True, eq=False)
class Evidence:
    """Observations split for belief: numbers and words, with what was left out and why."""

    numbers: tuple[Observation, ...]
    words: tuple[Observation, ...]

    @property
    def all(self) -> tuple[Observation, ...]:
        return self.numbers + self.words


NUMERIC = ("number", "range", "same")


def evidence(observations: Sequence[Observation]) -> Evidence:
    """Numbers and words apart, each in the order read."""
    return Evidence(
        tuple(o for o in observations if o.kind in NUMERIC),
        tuple(o for o in observations if o.kind not in NUMERIC),
    )


@lru_cache(maxsize=8)
def lanes_of(suspects: tuple[Suspect, ...]) -> solving.Rows:
    """The lanes of suspects, in order."""
    return solving.Rows(r for s in suspects for r in s.rows)


def solve_all(
    circuit: Circuit, suspects: Sequence[Suspect], seen: Evidence, keep: bool = True
) -> dict[Conditions, Solved]:
    """Every lane of every suspect, once for each set of standing conditions among the readings. `keep`: the
    same suspects will be asked about again."""
    rows = lanes_of(tuple(suspects)) if keep else solving.Rows(r for s in suspects for r in s.rows)
    wanted = dict.fromkeys(o.conditions for o in seen.all) or {Conditions(): None}
    return {c: solving.solved(circuit, rows, c, keep) for c in wanted}


def _misprobe(o: Observation) -> float:
    share = (
        UNSURE
        if o.unsure
        else DARK
        if o.word == "dark" or (o.kind == "number" and o.value == 0)
        else STATIC  # without power: a bad contact may have been at rest (4 of 37 stories were misled so)
        if o.tool == "ohmmeter"
        else MISPROBE
    )
    return min(share * WHOSE.get(o.whose, 2.0), 0.5)


def _slip(o: Observation) -> float:
    """Chance of the same word when it was said of something else."""
    if o.kind == "moved":
        return moving.steady(o.word)
    return 1 / (o.good_of[1] + 1) if o.good_of is not None else SLIP.get(o.kind, SLIP_OTHER)


def _taken_again(taken: Sequence[Observation]) -> list[str]:
    """A name for the readings taken at one spot with one instrument, empty for one taken once: who was in the
    wrong cavity once is there again, so such readings are wrong together as a run on one bad lead is."""
    at: list[tuple[object, ...]] = [
        (o.spot.a, o.spot.b, o.spot.what, o.instrument, o.whose, o.by) if o.spot else (i,)
        for i, o in enumerate(taken)
    ]
    return [f"again {x[0]} {x[-3:]}" if at.count(x) > 1 else "" for x in at]


def _occasion(o: Observation) -> int:
    """A number for when it was seen: a line is one occasion, unless it tells of several."""
    return -(o.line * 4 + o.nth) if o.nth else o.line


def _reading(
    o: Observation, value: float, sigma: float, places: tuple[int, int], top: float, again: str
) -> Reading:
    return Reading(
        value,
        sigma,
        _misprobe(o),
        (min(0.0, value), max(top, value)),
        other_weights(*places) if all(places) else (),
        (o.high - o.low) / 2 if o.kind == "range" else 0.0,
        o.run or again,
        _occasion(o),
        o.showing,
        o.line,
    )


def table(
    circuit: Circuit, suspects: Sequence[Suspect], seen: Evidence, solved: dict[Conditions, Solved],
    healthy: int | None,
) -> Table:  # fmt: skip
    """The belief table of these suspects and readings."""
    counts = np.cumsum([0] + [len(s.rows) for s in suspects])
    n, m = int(counts[-1]), len(seen.numbers)
    mean, cov = np.zeros((n, m)), np.zeros((n, m, m))
    others = np.zeros((n, m, WRONG_PLACES))
    value, sigma = np.zeros(m), np.ones(m)
    state = np.zeros(n, np.int64)
    for conditions, got in solved.items():
        index = [i for i, o in enumerate(seen.numbers) if o.conditions == conditions]
        if index:
            part = got.columns([seen.numbers[i] for i in index])
            mean[:, index], others[:, index] = part.mean, part.others
            cov[np.ix_(range(n), index, index)] = part.cov
            value[index], sigma[index] = part.value, part.sigma
        phases = {o.phase for o in seen.all if o.conditions == conditions and o.phase is not None}
        state = state * 1_000_003 + got.state_hash(sorted(phases))
    log_p = np.zeros((n, len(seen.words)))
    for w, o in enumerate(seen.words):
        log_p[:, w] = words.column(circuit, o, solved[o.conditions], suspects)
    again, places = _taken_again(seen.numbers), (WRONG_POINTS, WRONG_PHASES)
    readings = tuple(
        _reading(o, float(value[i]), float(sigma[i]), places, 16.0, again[i])
        for i, o in enumerate(seen.numbers)
    )
    # no change with the new part in was seen while it failed
    showing = ("fails" if o.kind == "exchanged" else o.showing for o in seen.words)
    told = tuple(
        Word(_misprobe(o), _slip(o), _occasion(o), state, o.line)
        for o, state in zip(seen.words, showing, strict=True)
    )
    hypotheses = []
    for s, a, b in zip(suspects, counts[:-1], counts[1:], strict=True):
        here = slice(int(a), int(b))
        p = Prediction(mean[here], cov[here], others[here], log_p[here])
        hypotheses.append(Hypothesis(s.key, s.prior, p, _segmented(s.grid, state[here]), _group(s)))
    return Table(tuple(hypotheses), readings, told, healthy, undrawn=UNDRAWN)


def _group(s: Suspect) -> str:
    return " + ".join(c.group for c in s.causes)
