"""What planning is told: outcome chances of every test under every hypothesis, and what doing it costs."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from amptrail.errors import one

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
SLEEP_WAIT_MIN = 20.0  # common practice: modules need about so long to fall asleep


@dataclass(frozen=True, eq=False)
class World:
    """Minutes to go from place to place, to change phase, and to open each panel or plug.

    `travel[p, q]`, `shift[a, b]` (asleep costs the wait; it is paid once for all that is done there),
    `panel[k]`. `away_in_wait`: False keeps moving and waiting additive (they never overlap).
    """

    travel: Array
    shift: Array
    panel: Array = field(default_factory=lambda: np.zeros(0))

    def shortest(self) -> World:
        """The same world with every detour that is shorter taken (bounds need the triangle rule)."""
        return World(_shortest(self.travel), _shortest(self.shift), self.panel)


@dataclass(frozen=True, eq=False)
class Tests:
    """T tests over H hypotheses with up to C outcome classes.

    `outcome[h, t, c]`: P(class | hypothesis), rows sum to 1 (unused classes 0). `own_min[t]`: set-up plus
    measuring plus what its risk is worth, in minutes. `place[t]`, `phase[t]`: where and in which phase;
    `opens[t]`: panels (indices) that must be open; `allowed[t]`: False = cannot (instrument, helper,
    cannot-list): never proposed, still usable as a reading.
    """

    outcome: Array
    own_min: Array
    place: Whole
    phase: Whole
    opens: tuple[frozenset[int], ...]
    allowed: NDArray[np.bool_]
    names: tuple[str, ...] = ()

    __test__ = False  # not a test class, whatever pytest thinks of the name


def simple_tests(outcome: Array, minutes: Array | None = None) -> Tests:
    """Tests at one place in one phase without panels; one minute each unless told."""
    t = outcome.shape[1]
    zero = np.zeros(t, np.int64)
    cost = np.ones(t) if minutes is None else minutes
    return Tests(outcome, cost, zero, zero, (frozenset(),) * t, np.ones(t, bool))


def flat_world(panels: int = 0) -> World:
    """One place, one phase."""
    return World(np.zeros((1, 1)), np.zeros((1, 1)), np.zeros(panels))


@dataclass(frozen=True)
class Where:
    """Where the person is: place, phase, panels already open."""

    place: int = 0
    phase: int = 0
    opened: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Minutes:
    """What one test costs from here, in minutes, part by part (JSON: minutes_min)."""

    move: float
    open: float
    measure: float
    phase: float

    @property
    def total(self) -> float:
        return self.move + self.open + self.measure + self.phase


@dataclass(frozen=True, eq=False)
class Problem:
    """Everything a plan is made from. `group[h]`: repair group of each hypothesis (small whole numbers)."""

    prior: Array
    group: Whole
    tests: Tests
    world: World

    def price(self, test: int, at: Where) -> Minutes:
        """Minutes of one test from here."""
        t, w = self.tests, self.world
        opening = float(sum(w.panel[k] for k in t.opens[test] - at.opened))
        move = float(w.travel[at.place, t.place[test]])
        return Minutes(move, opening, float(t.own_min[test]), float(w.shift[at.phase, t.phase[test]]))

    def prices(self, at: Where) -> Array:
        """Total minutes of every test from here; infinite where not allowed."""
        t, w = self.tests, self.world
        opening = np.asarray([sum(w.panel[k] for k in need - at.opened) for need in t.opens], float)
        total = t.own_min + opening + w.travel[at.place, t.place] + w.shift[at.phase, t.phase]
        return np.where(t.allowed, total, np.inf)

    def after(self, test: int, at: Where) -> Where:
        """Where the person is once the test is done."""
        t = self.tests
        return Where(int(t.place[test]), int(t.phase[test]), at.opened | t.opens[test])


def problem(prior: Array, group: Whole, tests: Tests, world: World | None = None) -> Problem:
    """A checked problem; priors are scaled to one. Raises InputError for tables that do not fit."""
    h, t, _ = tests.outcome.shape
    total = float(np.sum(prior))
    if (
        len(prior) != h
        or len(group) != h
        or not np.isfinite(total)
        or total <= 0
        or (np.asarray(prior) < 0).any()
    ):
        raise one("plan-table", f"priors and repair groups must be given for each of {h} hypotheses")
    if not np.allclose(tests.outcome.sum(axis=2), 1.0, atol=1e-6) or (tests.outcome < 0).any():
        raise one("plan-table", "the outcomes of each test must add up to one under every hypothesis")
    if not (np.isfinite(tests.own_min).all() and (tests.own_min > 0).all() and len(tests.own_min) == t):
        raise one("plan-table", "every test needs more than zero minutes of its own")
    _, dense = np.unique(np.asarray(group), return_inverse=True)
    small = np.asarray(dense, np.int64).reshape(-1)
    return Problem(np.asarray(prior, float) / total, small, tests, (world or flat_world()).shortest())


def _shortest(minutes: Array) -> Array:
    out = np.array(minutes, float)
    for k in range(len(out)):
        out = np.minimum(out, out[:, k : k + 1] + out[k : k + 1])
    return out
