"""Rollout: try each good first test, then follow the base rule on sampled truths, the same for all."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

import numpy as np

from amptrail.plan.lanes import Arena, Lanes
from amptrail.plan.score import group_mass, rates, update
from amptrail.plan.tables import Array, Problem, Where, Whole

CANDIDATES, DRAWS, STEPS = 8, 16, 6
UNITS, TESTS = 64, 60
STEPS_AHEAD, LEAST_CHANCE = 1, 1e-9
SMALL = 16  # so few hypotheses are all tried as the truth, and followed further
CONFIDENT = 0.97
TELLS_BITS = 0.02  # a first move that tells less is none
BELIEVED_ERRORS = 1.0  # standard errors of the paired gain, the same luck in both


@dataclass(frozen=True, eq=False)
class Rolled:
    """For each candidate: mean minutes, and the minutes of each draw with their weights. The first candidate
    is that of the base rule; `sampled`: the draws are a sample of the truths, not all of them. The draws
    follow the base rule to the end; a mean may be less, where the second test was chosen by rollout too."""

    candidates: tuple[int, ...]
    mean_min: Array
    draw_min: Array
    weight: Array
    sampled: bool = False

    @property
    def best(self) -> int:
        """Index into `candidates` of the least mean (the first among equals: the base rule's own order). Of a
        sample, only a gain over the base rule beyond what the luck of the draws explains is believed."""
        best = int(np.argmin(np.round(self.mean_min, 9)))
        if not self.sampled or best == 0:
            return best
        gain = self.draw_min[0] - self.draw_min[best]
        mean = float(gain @ self.weight)
        error = float(np.sqrt(((gain - mean) ** 2) @ self.weight / max(len(gain) - 1, 1)))
        return best if mean > BELIEVED_ERRORS * error else 0


def arena(p: Problem, belief: Array, keep: Whole) -> Arena:
    """Collapse to at most 64 units over the tests `keep`."""
    o = p.tests.outcome[:, keep]
    live = np.flatnonzero(belief > 1e-12)
    if len(live) <= SMALL:
        units, b, group = o[live], belief[live], p.group[live]
    else:
        mass = group_mass(p, belief)
        top = np.argsort(-mass, kind="stable")[:UNITS]
        top = top[mass[top] > 0]
        members = [np.flatnonzero((p.group == g) & (belief > 0)) for g in top]
        units = np.stack([np.einsum("h,htc->tc", belief[m] / belief[m].sum(), o[m]) for m in members])
        b, group = mass[top], np.arange(len(top))
    dense = np.unique(group, return_inverse=True)[1].reshape(-1).astype(np.int64)
    panels = len(p.world.panel)
    need = np.asarray([[k in p.tests.opens[t] for k in range(panels)] for t in keep], bool).reshape(
        len(keep), panels
    )
    return Arena(p, b / b.sum(), dense, keep, units, need)


def candidates(p: Problem, belief: Array, at: Where, most: int = CANDIDATES) -> tuple[Whole, list[int]]:
    """(the 60 best tests, the first moves to try): best by rate, and always the best here, the best
    elsewhere and the best of every other phase."""
    info, rate = rates(p, belief, at)
    rate = np.where(info > 1e-9, rate, 0.0)
    order = [int(t) for t in np.argsort(-rate, kind="stable") if rate[t] > 0]
    t = p.tests
    telling = [x for x in order if info[x] >= TELLS_BITS] or order  # nobody is sent to learn nothing
    must: list[int] = []
    kinds = [[x for x in telling if t.place[x] == at.place], [x for x in telling if t.place[x] != at.place]]
    kinds += [[x for x in telling if t.phase[x] == f] for f in np.unique(t.phase)]
    for kind in kinds:
        must += kind[:1]
    chosen = list(dict.fromkeys(telling[:1] + must + telling))[:most]
    # also tests that are dear only from here: best by information on their own minutes
    own = [
        int(x) for x in np.argsort(-np.where(rate > 0, info / t.own_min, 0.0), kind="stable")[: TESTS // 2]
    ]
    keep = list(dict.fromkeys(chosen + order[: TESTS // 2] + [x for x in own if rate[x] > 0]))[:TESTS]
    return np.asarray(keep, np.int64), chosen


def rollout(
    p: Problem,
    belief: Array,
    at: Where,
    seed: int = 0,
    confident: float = CONFIDENT,
    wrong_min: float = 60.0,
    until_s: float = math.inf,
    steps_ahead: int = STEPS_AHEAD,
) -> Rolled:
    """Expected minutes of each candidate first test followed by the base rule. `wrong_min`: minutes lost
    by a wrong repair; where the steps run out, nothing costs more than giving up and repairing. No further
    step is begun after `until_s` (`time.monotonic`). Where hypotheses are few, the test that follows the
    first is chosen by rollout too (`steps_ahead` tests so)."""
    keep, first = candidates(p, belief, at)
    if not first:
        return Rolled((), np.zeros(0), np.zeros((0, 1)), np.ones(1))
    a = arena(p, belief, keep)
    truths, weight = _truths(a, seed)
    steps = 2 * STEPS if len(a.belief) <= SMALL else STEPS
    luck = np.random.default_rng(seed).random((steps, len(truths)))
    number = {int(t): n for n, t in enumerate(keep)}
    lanes = Lanes(a, at, np.asarray([number[t] for t in first], np.int64), truths, confident)
    lanes.begin(np.tile(luck[0], len(first)))
    for step in range(1, steps):
        if time.monotonic() > until_s or not lanes.advance(np.tile(luck[step], len(first))):
            break
    cost = lanes.finish(wrong_min).reshape(len(first), len(truths))
    mean = np.asarray(cost @ weight, np.float64)
    if len(a.belief) <= SMALL and steps_ahead > 0:
        ahead = _Ahead(p, seed, confident, wrong_min, until_s, steps_ahead - 1)
        deeper = np.asarray([ahead.minutes(belief, at, t) for t in first])
        if np.isfinite(deeper).all():  # some looked at deeper than others would compare unlike with unlike
            mean = np.minimum(mean, deeper)
    return Rolled(tuple(first), mean, cost, weight, len(a.belief) > SMALL)


@dataclass(frozen=True, eq=False)
class _Ahead:
    """What follows a first test when the second one is chosen by rollout too, not by the base rule."""

    problem: Problem
    seed: int
    confident: float
    wrong_min: float
    until_s: float
    steps: int

    def minutes(self, belief: Array, at: Where, t: int) -> float:
        """Expected minutes of test `t` and all that follows each of its outcomes; infinite when there was no
        time to work it out."""
        p, total = self.problem, self.problem.price(t, at).total
        for c, chance in enumerate(belief @ p.tests.outcome[:, t]):
            if time.monotonic() > self.until_s:
                return math.inf
            if chance < LEAST_CHANCE:
                continue
            after = update(belief, p.tests.outcome, t, c)
            if float(group_mass(p, after).max()) >= self.confident:
                continue
            then = rollout(p, after, p.after(t, at), self.seed, self.confident, self.wrong_min, self.until_s,
                           self.steps)  # fmt: skip
            if then.candidates:  # else nothing tells more, and no test costs anything
                total += float(chance) * float(then.mean_min[then.best])
        return total


def _truths(a: Arena, seed: int) -> tuple[Whole, Array]:
    k = len(a.belief)
    if k <= SMALL:
        return np.arange(k), a.belief
    # one draw in each sixteenth of the mass
    u = (np.arange(DRAWS) + np.random.default_rng(seed + 1).random(DRAWS)) / DRAWS
    return np.minimum(np.searchsorted(np.cumsum(a.belief), u), k - 1).astype(np.int64), np.full(
        DRAWS, 1 / DRAWS
    )
