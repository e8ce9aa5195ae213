"""In which order to try repairs when each is proven by simply seeing whether the car works again.

Chance per cost, with what lies behind one panel taken as a block (Kadane & Simon 1977; Ottosen & Jensen,
arXiv 1203.3502): exact for one fault, independent actions and a free test after each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Action:
    """`chance` that this cures it, `cost` in minutes, `panel` index that must be open (-1: none)."""

    chance: float
    cost: float
    panel: int = -1


def expected_cost(actions: Sequence[Action], order: Sequence[int], opening: Sequence[float] = ()) -> float:
    """Expected minutes of trying the actions in this order; panels stay open once open."""
    left, spent, total = sum(a.chance for a in actions), 0.0, 0.0
    opened: set[int] = set()
    for i in order:
        a = actions[i]
        if a.panel >= 0 and a.panel not in opened:
            spent = opening[a.panel]
            opened.add(a.panel)
        else:
            spent = 0.0
        total += left * (spent + a.cost)
        left -= a.chance
    return total


def order_actions(actions: Sequence[Action], opening: Sequence[float] = ()) -> list[int]:
    """The best order: by chance per cost; what is behind a closed panel as its best-paying leading block."""
    free = [i for i, a in enumerate(actions) if a.panel < 0]
    closed = {
        k: _sorted(actions, [i for i, a in enumerate(actions) if a.panel == k]) for k in range(len(opening))
    }
    order: list[int] = []
    while free or any(closed.values()):
        blocks = [([i], actions[i].chance / actions[i].cost) for i in free]
        blocks += [_leading(actions, inside, opening[k]) for k, inside in closed.items() if inside]
        chosen = max(blocks, key=lambda b: b[1])[0]
        panel = actions[chosen[0]].panel
        order += chosen
        if panel in closed:
            # the panel is open now: what is left inside competes like anything outside
            free += [i for i in closed.pop(panel) if i not in chosen]
        free = [i for i in free if i not in chosen]
    return order


def _sorted(actions: Sequence[Action], which: list[int]) -> list[int]:
    return sorted(which, key=lambda i: -actions[i].chance / actions[i].cost)


def _leading(actions: Sequence[Action], inside: list[int], opening: float) -> tuple[list[int], float]:
    """The leading block with the best chance per cost, the opening included."""
    chance, cost, best = 0.0, opening, (inside[:1], -1.0)
    for n, i in enumerate(inside, 1):
        chance, cost = chance + actions[i].chance, cost + actions[i].cost
        if chance / cost > best[1]:
            best = (inside[:n], chance / cost)
    return best
