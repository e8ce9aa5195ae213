"""The exact end-game: a dynamic program over (what is left, place, phase, panels) for clear-cut tests."""

from __future__ import annotations

from dataclasses import dataclass
from heapq import heappop, heappush

import numpy as np

from amptrail.plan.tables import Array, Problem, Where

MOST_GROUPS = 12
CLEAR = 0.97

State = tuple[int, Where]


@dataclass(frozen=True, eq=False)
class Clear:
    """A problem of clear-cut tests, alike hypotheses merged: `chance[i]`, `group[i]`, `split[t]` = for each
    class the set (bit mask) of merged hypotheses giving it. `member[h]`: its i (-1: gone)."""

    chance: Array
    group: tuple[int, ...]
    split: tuple[tuple[int, ...], ...]
    member: tuple[int, ...]


def clear_cut(p: Problem, belief: Array) -> Clear | None:
    """The merged problem, or None when more than twelve are left or some outcome is not clear-cut."""
    live = np.flatnonzero(belief > 1e-12)
    if len(np.unique(p.group[live])) > MOST_GROUPS:
        return None
    usable = np.flatnonzero(p.tests.allowed)
    chances = p.tests.outcome[live][:, usable]
    if chances.size and float(chances.max(axis=2).min()) < CLEAR:
        return None
    classes = chances.argmax(axis=2)
    found: dict[tuple[object, ...], int] = {}
    member = [-1] * len(belief)
    for i, h in enumerate(live):
        member[h] = found.setdefault((int(p.group[h]), classes[i].tobytes()), len(found))
    if len(found) > MOST_GROUPS:
        return None
    split: list[tuple[int, ...]] = [()] * len(p.tests.own_min)
    for j, t in enumerate(usable):
        sets: dict[int, int] = {}
        for i, h in enumerate(live):
            c = int(classes[i, j])
            sets[c] = sets.get(c, 0) | 1 << member[h]
        split[t] = tuple(sets[c] for c in sorted(sets))
    chance = np.bincount([member[h] for h in live], weights=belief[live])
    groups = tuple(key[0] for key in found)
    return Clear(chance, groups, tuple(split), tuple(member))  # type: ignore[arg-type]


class EndGame:
    """Expected minutes to one repair group (or to what no test can split), and the best test, exactly."""

    def __init__(self, p: Problem, clear: Clear) -> None:
        self.problem, self.clear = p, clear
        self._memo: dict[State, tuple[float, int]] = {}
        self._mass: dict[int, float] = {}

    @property
    def everything(self) -> int:
        """The set of all merged hypotheses."""
        return (1 << len(self.clear.chance)) - 1

    def value(self, left: int, at: Where) -> float:
        """Least expected minutes from here when only `left` is possible."""
        return self._solve(left, at)[0]

    def best(self, left: int, at: Where) -> int:
        """The test to do (-1: done, or nothing separates)."""
        return self._solve(left, at)[1]

    def outcomes(self, left: int, test: int) -> list[int]:
        """The sets that the test can leave."""
        return [left & s for s in self.clear.split[test] if left & s]

    def mass(self, left: int) -> float:
        """Probability of a set."""
        if left not in self._mass:
            self._mass[left] = float(sum(c for i, c in enumerate(self.clear.chance) if left >> i & 1))
        return self._mass[left]

    def one_group(self, left: int) -> bool:
        """Would one repair cure all of the set?"""
        return len({g for i, g in enumerate(self.clear.group) if left >> i & 1}) <= 1

    def _solve(self, left: int, at: Where) -> tuple[float, int]:
        known = self._memo.get((left, at))
        if known is None:
            known = self._memo[left, at] = self._search(left, at)
        return known

    def _search(self, left: int, at: Where) -> tuple[float, int]:
        if self.one_group(left):
            return 0.0, -1
        best, choice = float("inf"), -1
        whole = self.mass(left)
        for t in range(len(self.clear.split)):
            parts = self.outcomes(left, t) if self.clear.split[t] else []
            if len(parts) < 2:
                continue
            cost = self.problem.price(t, at).total
            if cost >= best:
                continue
            after = self.problem.after(t, at)
            for part in sorted(parts, key=self.mass, reverse=True):
                cost += self.mass(part) / whole * self._solve(part, after)[0]
                if cost >= best:
                    break
            if cost < best:
                best, choice = cost, t
        return (best, choice) if choice >= 0 else (0.0, -1)

    def costs(self, at: Where) -> Array:
        """Minutes until done for each merged hypothesis when it is the truth, under the best plan."""
        out = np.zeros(len(self.clear.chance))
        stack = [(self.everything, at, 0.0)]
        while stack:
            left, here, spent = stack.pop()
            t = self.best(left, here)
            if t < 0:
                for i in range(len(out)):
                    if left >> i & 1:
                        out[i] = spent
                continue
            cost, after = self.problem.price(t, here).total, self.problem.after(t, here)
            stack += [(part, after, spent + cost) for part in self.outcomes(left, t)]
        return out


def proof_bound(game: EndGame, at: Where) -> float:
    """Minutes no plan can beat: for each truth the cheapest way to rule out every other group that can be."""
    return float(sum(c * _proof(game, i, at) for i, c in enumerate(game.clear.chance)))


def _proof(game: EndGame, truth: int, at: Where) -> float:
    clear, p = game.clear, game.problem
    mine = 1 << truth
    keep = [
        next((s for s in parts if s & mine), game.everything) if parts else game.everything
        for parts in clear.split
    ]
    goal = game.everything
    for s in keep:
        goal &= s
    rivals = sum(1 << i for i, g in enumerate(clear.group) if g != clear.group[truth])
    done = goal & rivals
    queue: list[tuple[float, int, int, Where]] = [(0.0, 0, game.everything & rivals, at)]
    seen: set[State] = set()
    tick = 0
    while queue:
        cost, _, left, here = heappop(queue)
        if left == done:
            return cost
        if (left, here) in seen:
            continue
        seen.add((left, here))
        for t, s in enumerate(keep):
            if left & s != left:
                tick += 1
                heappush(queue, (cost + p.price(t, here).total, tick, left & s, p.after(t, here)))
    return 0.0
