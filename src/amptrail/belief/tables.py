"""What belief is told: hypotheses with severity grids, predictions on them, and the readings.

Severity is log10(ohm). Predictions come as tables; belief never computes a circuit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from amptrail.errors import one

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Showing = Literal["unknown", "works", "fails"]


@dataclass(frozen=True, eq=False)
class Grid:
    """The severities at which a hypothesis was solved.

    `axes`: none for a discrete fault, one for a single (17 points), two for a double (9 x 9);
    each ascending in log10(ohm). A table's row g runs through the axes with the last one fastest.
    `segment[g]`: rows of one number share every discrete state (relays, fuses, modules).
    `cuts` (one axis only): where the state changes, ascending, one between neighbouring segments.
    The prior density over severity is flat in log10(ohm).
    """

    axes: tuple[Array, ...] = ()
    segment: Whole | None = None
    cuts: tuple[float, ...] = ()

    @property
    def size(self) -> int:
        """Rows of every table over this grid."""
        return int(np.prod([len(a) for a in self.axes], dtype=np.int64)) if self.axes else 1

    def segments(self) -> Whole:
        """The segment of each row (all 0 when none was given)."""
        return np.zeros(self.size, np.int64) if self.segment is None else self.segment

    def key(self) -> tuple[object, ...]:
        """Equal keys mean that two hypotheses can be integrated together."""
        return (
            tuple(a.tobytes() for a in self.axes),
            self.segments().tobytes(),
            self.cuts,
        )


def single_grid(low_ohm: float, high_ohm: float, points: int = 17) -> Grid:
    """A log-even grid between two resistances (ohm), flat prior density in log-ohm."""
    if not (0 < low_ohm < high_ohm) or points < 2:
        raise one(
            "severity-range", f"severity range {low_ohm} … {high_ohm} ohm is not an ascending positive range"
        )
    return Grid((np.linspace(np.log10(low_ohm), np.log10(high_ohm), points),))


def double_grid(first: tuple[float, float], second: tuple[float, float], points: int = 9) -> Grid:
    """A grid over two severities (ohm ranges), first axis slow, second fast."""
    return Grid(single_grid(*first, points).axes + single_grid(*second, points).axes)


@dataclass(frozen=True, eq=False)
class Prediction:
    """What one hypothesis says about every reading, row by row of its grid (G rows).

    `mean[g, m]`: numeric readings (their own units); `cov[g, m, m]`: tolerance covariance J S J^T,
    without the instrument (None: zero). `others[g, m, k]`: readings of wrong places (misprobe), weighed
    by `Reading.other_weights`. `words[g, w]`: natural-log likelihood of each word reading.
    """

    mean: Array
    cov: Array | None = None
    others: Array | None = None
    words: Array | None = None


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """One explanation. `showing` < 1 marks an intermittent: the chance that it shows at a random try."""

    key: str
    prior: float
    prediction: Prediction
    grid: Grid = field(default_factory=Grid)
    group: str = ""
    showing: float = 1.0


@dataclass(frozen=True)
class Reading:
    """A numeric reading.

    `sigma`: instrument standard deviation (accuracy and resolution, same unit). `span`: range in which a
    wrong reading may lie (0 … battery). `misprobe`: chance that it is not what its line says.
    `spread`: half width of a told range, uniform (fluctuates). `run`: readings that share one reference
    lead. `occasion`: readings taken together; `state`: whether the complaint showed then.
    `line`: the readings-file line, for reports only.
    """

    value: float
    sigma: float
    misprobe: float = 0.03
    span: tuple[float, float] = (0.0, 15.0)
    other_weights: tuple[float, ...] = ()
    spread: float = 0.0
    run: str = ""
    occasion: int = 0
    state: Showing = "unknown"
    line: int = 0

    @property
    def width(self) -> float:
        """The range in which a wrong reading may lie, what was read within it (same unit)."""
        return max(self.span[1], self.value) - min(self.span[0], self.value)


@dataclass(frozen=True)
class Word:
    """A word, count or time reading: its likelihood is a column of `Prediction.words`.

    `wrong_likelihood`: chance of the same word when it was said of something else.
    """

    misprobe: float = 0.03
    wrong_likelihood: float = 0.5
    occasion: int = 0
    state: Showing = "unknown"
    line: int = 0


@dataclass(frozen=True)
class Spoiler:
    """One instrument in one person's hands that may be wrong: `readings` (indices) it took; `dead`: it shows
    next to nothing; `factor`: all it shows is one unknown factor times what is there, this the standard
    deviation of the factor about 1; neither: anything."""

    prior: float
    readings: tuple[int, ...]
    dead: bool = False
    factor: float | None = None


@dataclass(frozen=True, eq=False)
class Table:
    """Everything belief needs. `healthy`: index of the nothing-broken hypothesis (None: not offered).
    `undrawn`: chance beforehand that the vehicle is not as drawn; `spoilers`: instruments that may be wrong.

    An intermittent hypothesis needs `healthy`, for what is read while it does not show.
    """

    hypotheses: tuple[Hypothesis, ...]
    readings: tuple[Reading, ...] = ()
    words: tuple[Word, ...] = ()
    healthy: int | None = None
    spoiled_run: float = 0.01
    undrawn: float = 0.0
    spoilers: tuple[Spoiler, ...] = ()

    def without(self, reading: int | None = None, word: int | None = None) -> Table:
        """The same table with one reading (or word) left out."""
        keep = [i for i in range(len(self.readings)) if i != reading]
        kept_words = [i for i in range(len(self.words)) if i != word]
        return self.select(keep, kept_words)

    def select(self, keep: Sequence[int], words: Sequence[int]) -> Table:
        """The table reduced to (or reordered by) the readings and words given by index."""
        pick = np.asarray(keep, np.intp)
        pick_words = np.asarray(words, np.intp)

        def cut(h: Hypothesis) -> Hypothesis:
            p = h.prediction
            new = Prediction(
                p.mean[:, pick],
                None if p.cov is None else p.cov[:, pick][:, :, pick],
                None if p.others is None else p.others[:, pick],
                None if p.words is None else p.words[:, pick_words],
            )
            return Hypothesis(h.key, h.prior, new, h.grid, h.group, h.showing)

        return Table(
            tuple(cut(h) for h in self.hypotheses),
            tuple(self.readings[i] for i in keep),
            tuple(self.words[i] for i in words),
            self.healthy,
            self.spoiled_run,
            self.undrawn,
            tuple(replace(s, readings=mine) for s in self.spoilers if len(mine := _kept(s, keep)) > 1),
        )


def _kept(spoiler: Spoiler, keep: Sequence[int]) -> tuple[int, ...]:
    """The readings of a spoiler as they are numbered once only `keep` are left."""
    return tuple(n for n, i in enumerate(keep) if i in spoiler.readings)


def check(table: Table) -> None:
    """Raise InputError when shapes or numbers cannot be used."""
    if not table.hypotheses:
        raise one(
            "no-hypotheses", "there is nothing to choose between", remedy="give at least one hypothesis"
        )
    m, w = len(table.readings), len(table.words)
    for r in table.readings:
        ok = np.isfinite(r.value) and r.sigma > 0 and 0 <= r.misprobe < 1 and r.span[0] < r.span[1]
        if not ok or sum(r.other_weights) > 1 + 1e-9 or r.spread < 0:
            raise one("reading-numbers", f"reading on line {r.line} has unusable numbers", line=r.line)
    _check_hypotheses(table.hypotheses, m, w, table.healthy)


@lru_cache(maxsize=2)
def _check_hypotheses(every: tuple[Hypothesis, ...], m: int, w: int, healthy: int | None) -> None:
    for h in every:
        _check_hypothesis(h, m, w, healthy)


def _check_hypothesis(h: Hypothesis, m: int, w: int, healthy: int | None) -> None:
    p, g = h.prediction, h.grid.size
    if p.mean.shape != (g, m) or (p.cov is not None and p.cov.shape != (g, m, m)):
        raise one("table-shape", f"{h.key}: predictions do not fit {g} severities and {m} readings")
    if w and (p.words is None or p.words.shape != (g, w)):
        raise one("table-shape", f"{h.key}: {w} word readings need {w} likelihood columns")
    parts = [p.mean] + [a for a in (p.cov, p.others) if a is not None]
    if not all(np.isfinite(a).all() for a in parts) or (p.words is not None and np.isnan(p.words).any()):
        raise one("table-numbers", f"{h.key}: a prediction is not a finite number")
    if not (np.isfinite(h.prior) and h.prior >= 0) or not 0 < h.showing <= 1:
        raise one("table-numbers", f"{h.key}: prior and chance of showing must be 0 … 1")
    if h.showing < 1 and healthy is None:
        raise one("table-shape", f"{h.key} is intermittent: the table needs a nothing-broken hypothesis")
