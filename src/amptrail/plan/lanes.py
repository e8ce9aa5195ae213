"""Sampled futures: many lanes (candidate x draw) that follow the base rule together, as matrix products."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.plan.score import plogp
from amptrail.plan.tables import Array, Problem, Where, Whole

TELLS_SOMETHING = 1e-9  # bits; less is rounding


@dataclass(frozen=True, eq=False)
class Arena:
    """The reduced problem: units (heaviest repair groups, or hypotheses when few) and the best tests."""

    problem: Problem
    belief: Array
    group: Whole
    tests: Whole
    outcome: Array
    need: NDArray[np.bool_]


class Lanes:
    """All candidate x draw lanes. Lanes that have done and seen the same are one: `path` of each is the row
    of what is believed, where it is and what it has spent."""

    def __init__(self, a: Arena, at: Where, first: Whole, truths: Whole, confident: float) -> None:
        self.a, self.confident = a, confident
        self.truth = np.tile(truths, len(first))
        self.path = np.zeros(len(self.truth), np.int64)
        self.belief = a.belief[None]
        self.place, self.phase = np.asarray([at.place]), np.asarray([at.phase])
        self.opened = np.asarray([[k in at.opened for k in range(len(a.problem.world.panel))]], bool)
        self.spent, self.done = np.zeros(1), np.zeros(1, bool)
        onehot = a.group[:, None] == np.arange(a.group.max() + 1)[None]
        self.onehot = onehot.astype(float)
        self.flat = a.outcome.reshape(len(a.belief), -1)
        self.units_are_groups = onehot.shape[0] == onehot.shape[1]
        self.noise = -plogp(a.outcome).sum(axis=2)
        size = onehot.sum(axis=0)
        self.alone = np.flatnonzero(size[a.group] == 1)  # the only unit of its group
        self.among = np.flatnonzero(size[a.group] > 1)
        self.shared = self.onehot[np.ix_(self.among, np.flatnonzero(size > 1))]
        self.first = np.repeat(first, len(truths))

    def prices(self, paths: Whole) -> Array:
        """Minutes of every test for these paths."""
        w, t, keep = self.a.problem.world, self.a.problem.tests, self.a.tests
        place, phase = self.place[paths, None], self.phase[paths, None]
        move = w.travel[place, t.place[keep]] + w.shift[phase, t.phase[keep]]
        opening = (~self.opened[paths] * w.panel) @ self.a.need.T.astype(float)
        return np.asarray(t.own_min[keep] + move + opening, np.float64)

    def information(self, paths: Whole) -> Array:
        """Bits on the repair group, these paths and every test."""
        belief = self.belief[paths]
        shape = (len(paths), *self.a.outcome.shape[1:])
        total = (belief @ self.flat).reshape(shape)
        if self.units_are_groups:
            return np.asarray(-plogp(total).sum(axis=2) - belief @ self.noise)
        # over its outcomes p log p of a lone unit is that of its belief less its share of noise
        alone = belief[:, self.alone]
        given = plogp(alone).sum(axis=1)[:, None] - alone @ self.noise[self.alone]
        if len(self.among):
            among, flat = belief[:, self.among], self.flat[self.among]
            joint = (among[:, None] * self.shared.T) @ flat  # [path, group, test and outcome]
            given = given + plogp(joint).sum(axis=1).reshape(shape).sum(axis=2)
        mass = belief @ self.onehot
        return np.asarray(given - plogp(mass).sum(axis=1)[:, None] - plogp(total).sum(axis=2))

    def begin(self, luck: Array) -> None:
        """The first test of every lane."""
        price = self.prices(np.zeros(1, np.int64))[0][self.first]
        self._do(np.arange(len(self.path)), self.first, price, luck)

    def advance(self, luck: Array) -> bool:
        """The test of the best rate in every lane that is not sure and has one; False when none has."""
        paths = np.flatnonzero(~self.done)
        paths = paths[self._sure(paths) < self.confident]
        info, price = self.information(paths), self.prices(paths)
        on = info.max(axis=1, initial=0.0) >= TELLS_SOMETHING
        paths, best = paths[on], (info / price).argmax(axis=1)[on]
        self.done[:] = True
        self.done[paths] = False
        row = np.cumsum(~self.done) - 1  # of a path among those that go on
        go = np.flatnonzero(~self.done[self.path])
        mine = row[self.path[go]]
        if len(go):
            self._do(go, best[mine], price[on, best][mine], luck)
        return bool(len(go))

    def _do(self, go: Whole, m: Whole, price: Array, luck: Array) -> None:
        """Test m in the lanes `go`: those of one path that see the same go on as one."""
        a, tests = self.a, self.a.problem.tests
        chance = np.cumsum(a.outcome[self.truth[go], m], axis=1)
        result = np.minimum((luck[go, None] >= chance).sum(axis=1), chance.shape[1] - 1)
        way = (self.path[go] * len(a.tests) + m) * chance.shape[1] + result
        _, one, now = np.unique(way, return_index=True, return_inverse=True)
        before, m, result, price = self.path[go[one]], m[one], result[one], price[one]
        new = self.belief[before] * a.outcome[:, m, result].T
        ended = np.unique(self.path[self.done[self.path]])  # paths at whose end lanes stay
        stay = np.flatnonzero(self.done[self.path])
        self.path[stay] = len(one) + np.searchsorted(ended, self.path[stay])
        self.path[go] = now.reshape(-1)
        there = a.tests[m]
        self.belief = np.concatenate([new / new.sum(axis=1, keepdims=True), self.belief[ended]])
        self.place = np.concatenate([tests.place[there], self.place[ended]])
        self.phase = np.concatenate([tests.phase[there], self.phase[ended]])
        self.opened = np.concatenate([self.opened[before] | a.need[m], self.opened[ended]])
        self.spent = np.concatenate([self.spent[before] + price, self.spent[ended]])
        self.done = np.concatenate([np.zeros(len(one), bool), self.done[ended]])

    def _sure(self, paths: Whole) -> Array:
        """Probability of the likeliest repair group."""
        return np.asarray((self.belief[paths] @ self.onehot).max(axis=1, initial=0.0), np.float64)

    def finish(self, wrong_min: float) -> Array:
        """Minutes spent by each lane plus, where steps ran out, what is left to learn at the best rate from
        there, or what repairing the best guess would lose, whichever is less (some doubts no test can
        settle)."""
        open_ = np.flatnonzero(~self.done)
        sure = self._sure(open_)
        info, price = self.information(open_), self.prices(open_)
        telling = (sure < self.confident) & (info.max(axis=1, initial=0.0) >= TELLS_SOMETHING)
        rate = (info / price).max(axis=1, initial=0.0)
        left = -plogp(self.belief[open_] @ self.onehot).sum(axis=1)
        ahead = np.minimum(left / np.maximum(rate, 1e-12), wrong_min * (1 - sure))
        spent = self.spent.copy()
        spent[open_] += np.where(telling, ahead, 0.0)
        return spent[self.path]
