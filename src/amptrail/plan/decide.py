"""The plan: what to test next and what each outcome would leave, grouped into visits; when to stop."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from amptrail.plan.exact import Clear, EndGame, clear_cut, proof_bound
from amptrail.plan.rollout import CONFIDENT, TELLS_BITS, Rolled, rollout
from amptrail.plan.score import bits, group_mass, plogp, rates, update
from amptrail.plan.tables import Array, Minutes, Problem, Where

LEAVES = 3
LISTED = 12
LIKELY = 0.5  # below this a repair is a guess, whatever it costs
TELLS_SHARE = 0.1  # fewer bits than TELLS_BITS, and a smaller share of what is open, tell nothing
WORTH_WHILE_THERE = 0.5  # done in the same visit when, once there, it earns half of the best rate


@dataclass(frozen=True)
class Outcome:
    """One outcome class: its chance, and the heaviest hypotheses after it as (index, probability)."""

    klass: int
    probability: float
    leaves: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class Advice:
    """One test. `separates`: the two heaviest hypotheses of different repair groups that it tells apart
    best, or None; the caller makes its why line of them. `expected_min`: to the end, starting with this
    test (None when that was not computed)."""

    test: int
    minutes: Minutes
    bits: float
    repair_bits: float
    score: float
    outcomes: tuple[Outcome, ...]
    separates: tuple[int, int] | None
    expected_min: float | None


@dataclass(frozen=True)
class Visit:
    """What to do in one place and phase, once there, in this order; `minutes` = going there and all of it."""

    place: int
    phase: int
    minutes: float
    tests: tuple[Advice, ...]


@dataclass(frozen=True)
class Stop:
    """Stop testing and repair? `wrong_cost_min`: expected minutes lost by repairing the best group now."""

    is_so: bool
    reason: str
    wrong_cost_min: float


@dataclass(frozen=True)
class Plan:
    """The advice. Minutes are to a proven repair group; `bound_min`: no plan can beat it; `exact`: the plan
    is the true optimum, not a sample; `groups`: repair groups still possible."""

    visits: tuple[Visit, ...]
    best: int
    stop: Stop
    expected_min: float
    p80_min: float
    bound_min: float
    groups: int
    exact: bool


@dataclass(frozen=True, eq=False)
class _Ahead:
    """How long it will take, from the end-game or from rollout."""

    first: int
    expected: dict[int, float]
    mean: float
    p80: float
    bound: float
    exact: bool


def make_plan(
    p: Problem,
    at: Where | None = None,
    wrong_cost_min: Array | float = 60.0,
    seed: int = 0,
    confident: float = CONFIDENT,
    until_s: float = math.inf,
) -> Plan:
    """Plan from the problem's prior (the belief now) and from where the person is.

    `wrong_cost_min`: minutes lost by repairing a group (one number, or by dense group) that was not it.
    Looking ahead ends at `until_s` (`time.monotonic`); the plan is then that of the base rule so far.
    """
    here = at or Where()
    belief = p.prior
    info, rate = rates(p, belief, here)
    ahead = _look_ahead(p, belief, here, seed, confident, wrong_cost_min, until_s)
    useful = [int(t) for t in np.argsort(-rate, kind="stable") if info[t] > 1e-9 and p.tests.allowed[t]]
    order = sorted(useful, key=lambda t: (t != ahead.first, ahead.expected.get(t, np.inf), useful.index(t)))[
        :LISTED
    ]
    all_bits = bits(belief, p.tests.outcome[:, order]) if order else np.zeros(0)
    listed = [
        _advice(p, belief, here, t, float(b), info, rate, ahead) for t, b in zip(order, all_bits, strict=True)
    ]
    mass = group_mass(p, belief)
    least = min((a.minutes.total for a in listed if a.test == ahead.first), default=0.0)
    mean = max(ahead.mean, least)  # nothing is proven before the first test is done
    return Plan(
        _visits(p, here, listed, mean),
        ahead.first,
        _stop(
            p, mass, wrong_cost_min, info, ahead.mean, confident, lambda c: _pays(p, belief, here, order, c)
        ),
        mean,
        max(ahead.p80, least),
        min(ahead.bound, mean),
        int((mass > 1e-9).sum()),
        ahead.exact,
    )


def _look_ahead(
    p: Problem, belief: Array, at: Where, seed: int, confident: float, wrong: Array | float, until_s: float
) -> _Ahead:
    clear = clear_cut(p, belief)
    if clear is not None:
        return _exact(p, clear, at)
    mass = group_mass(p, belief)
    wrong_min = float((np.broadcast_to(np.asarray(wrong, float), mass.shape) * mass).sum())
    r = rollout(p, belief, at, seed, confident, wrong_min, until_s)
    if not r.candidates:
        return _Ahead(-1, {}, 0.0, 0.0, 0.0, False)
    k = r.best
    expected = {t: float(m) for t, m in zip(r.candidates, r.mean_min, strict=True)}
    p80 = quantile(r.draw_min[k], r.weight, 0.8)
    return _Ahead(
        r.candidates[k], expected, float(r.mean_min[k]), p80, noisy_bound(p, belief, confident), False
    )


def _exact(p: Problem, clear: Clear, at: Where) -> _Ahead:
    game = EndGame(p, clear)
    first = game.best(game.everything, at)
    mean = game.value(game.everything, at)
    p80 = quantile(game.costs(at), clear.chance, 0.8)
    return _Ahead(first, {first: mean} if first >= 0 else {}, mean, p80, proof_bound(game, at), True)


def quantile(value: Array, weight: Array, q: float) -> float:
    """Weighted quantile (the least value with at least q of the weight at or below it)."""
    order = np.argsort(value, kind="stable")
    rise = np.cumsum(weight[order])
    at = int(np.searchsorted(rise, q * rise[-1] - 1e-12))
    return float(value[order[min(at, len(order) - 1)]])


def noisy_bound(p: Problem, belief: Array, confident: float) -> float:
    """Bits that must be learned to be that sure, at the best a test could ever pay for its own minutes."""
    mass = group_mass(p, belief)
    live = int((mass > 0).sum())
    doubt = 1 - confident
    may_stay = float(-plogp(np.asarray([doubt, confident])).sum()) + doubt * float(np.log2(max(live - 1, 1)))
    need = float(-plogp(mass).sum()) - may_stay
    classes = (p.tests.outcome > 0).any(axis=0).sum(axis=1)
    best = np.where(p.tests.allowed, np.log2(np.maximum(classes, 1)) / p.tests.own_min, 0.0).max(initial=0.0)
    return max(need, 0.0) / float(best) if best > 0 else 0.0


def _advice(
    p: Problem, belief: Array, at: Where, t: int, all_bits: float, info: Array, rate: Array, ahead: _Ahead
) -> Advice:
    chance = belief @ p.tests.outcome[:, t]
    outcomes = []
    for c in np.flatnonzero(chance > 1e-9):
        after = update(belief, p.tests.outcome, t, int(c))
        top = np.argsort(-after, kind="stable")[:LEAVES]
        leaves = tuple((int(h), float(after[h])) for h in top if after[h] > 1e-6)
        outcomes.append(Outcome(int(c), float(chance[c]), leaves))
    found = _separates(p, belief, t)
    return Advice(
        t,
        p.price(t, at),
        all_bits,
        float(info[t]),
        float(rate[t]),
        tuple(outcomes),
        found,
        ahead.expected.get(t),
    )


def _separates(p: Problem, belief: Array, t: int) -> tuple[int, int] | None:
    top = np.argsort(-belief, kind="stable")[:8]
    best, pair = 1e-6, None
    for i, a in enumerate(top):
        for b in top[i + 1 :]:
            if p.group[a] == p.group[b]:
                continue
            apart = 0.5 * float(np.abs(p.tests.outcome[a, t] - p.tests.outcome[b, t]).sum())
            worth = apart * float(belief[a] * belief[b])
            if worth > best:
                best, pair = worth, (int(a), int(b))
    return pair


def _visits(p: Problem, at: Where, listed: list[Advice], expected_min: float) -> tuple[Visit, ...]:
    """Tests by place and phase. The first visit takes no longer than all of the testing is expected to: what
    its first tests show decides about the rest."""
    by_key: dict[tuple[int, int], list[Advice]] = {}
    for a in listed:
        by_key.setdefault((int(p.tests.place[a.test]), int(p.tests.phase[a.test])), []).append(a)
    out: list[Visit] = []
    for (place, phase), found in by_key.items():
        there = Where(place, phase, at.opened)
        rate = [a.repair_bits / p.price(a.test, there).total for a in found]
        best = rate[0]
        chosen = [
            a for a, r in zip(found, rate, strict=True) if a is found[0] or r >= WORTH_WHILE_THERE * best
        ]
        kept: list[Advice] = []
        minutes, here = 0.0, at
        for a in chosen:
            more = p.price(a.test, here).total
            if kept and not out and minutes + more > expected_min + 1e-9:
                break
            minutes, here = minutes + more, p.after(a.test, here)
            kept.append(a)
        out.append(Visit(place, phase, minutes, tuple(kept)))
    return tuple(out)


def _at_stake(mass: Array, cost: Array) -> float:
    """Minutes lost, on average, by repairing the likeliest group now."""
    best = int(np.argmax(mass))
    return (1 - float(mass[best])) * float(cost[best])


def _pays(p: Problem, belief: Array, at: Where, tests: list[int], cost: Array) -> bool:
    """Whether some single test takes fewer minutes than it saves of those at stake."""
    now = _at_stake(group_mass(p, belief), cost)
    for t in tests:
        chance = belief @ p.tests.outcome[:, t]
        left = sum(
            float(chance[c]) * _at_stake(group_mass(p, update(belief, p.tests.outcome, t, int(c))), cost)
            for c in np.flatnonzero(chance > 1e-9)
        )
        if p.price(t, at).total + left < now:
            return True
    return False


def _stop(
    p: Problem,
    mass: Array,
    wrong: Array | float,
    info: Array,
    ahead_min: float,
    confident: float,
    pays: Callable[[Array], bool],
) -> Stop:
    """Stop when one repair is as good as proven, when no test tells what is left apart, or when repairing the
    likeliest and, should it be wrong, going on after that costs less than the tests still needed first and
    no single test saves more than it takes.

    `ahead_min`: expected minutes of testing still to come. Repairing now costs (1 - p) (wrong + ahead),
    testing first costs `ahead`.
    """
    cost = np.broadcast_to(np.asarray(wrong, float), mass.shape)
    best = int(np.argmax(mass))
    top = float(mass[best])
    now = (1 - top) * float(cost[best])
    if top >= confident or int((mass > 1e-9).sum()) == 1:
        return Stop(True, "one repair is left", now)
    allowed = np.where(p.tests.allowed, info, 0.0)
    entropy = float(-plogp(mass).sum())
    if not len(allowed) or float(allowed.max()) < min(TELLS_BITS, TELLS_SHARE * entropy):
        return Stop(True, "no allowed test separates what is left", now)
    cheaper = (1 - top) * (float(cost[best]) + ahead_min) <= ahead_min
    if top >= LIKELY and cheaper and not pays(cost):
        return Stop(True, "repairing now costs less than the tests still needed", now)
    return Stop(False, "a test saves more than it costs", now)


__all__ = ["Advice", "Outcome", "Plan", "Rolled", "Stop", "Visit", "make_plan"]
