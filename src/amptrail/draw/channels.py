"""How lines run between two layers: one horizontal line a net, on tracks, no two nets on one line.

A net of a channel has pins above and pins below. Where they all stand in one column the line is straight;
else a horizontal line joins them. Two nets with pins in the same column, one from above and one from below,
must not pass each other there, so the one from above turns off higher; where such demands form a ring, a net
is broken into an upper and a lower line joined in a free column.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from amptrail.draw.graph import GRID

FORBIDDEN = 1000
CLEAR = GRID  # between the ends of two lines on one track


@dataclass(eq=False, slots=True)
class Run:
    """The horizontal line of a net in a channel: columns of its pins from above and from below."""

    net: int
    above: list[int]
    below: list[int]
    track: int = 0
    y: int = 0
    joined: Run | None = field(default=None)  # the lower half of a broken net

    @property
    def low(self) -> int:
        """Leftmost column."""
        return min(*self.above, *self.below, self._any())

    @property
    def high(self) -> int:
        """Rightmost column."""
        return max(*self.above, *self.below, self._any())

    def _any(self) -> int:
        return (self.above or self.below)[0]


def _cost(upper: Run, lower: Run) -> int:
    """Crossings when one run lies above the other; FORBIDDEN where their lines would lie on each other."""
    if upper.joined is lower:
        return 0
    if lower.joined is upper or set(upper.below) & set(lower.above):
        return FORBIDDEN
    falls = sum(1 for x in upper.below if lower.low <= x <= lower.high)
    rises = sum(1 for x in lower.above if upper.low <= x <= upper.high)
    return falls + rises


def _sorted(runs: list[Run]) -> list[Run]:
    """Runs from top to bottom: start as given, exchange neighbours, then lift single runs, while it helps."""
    order: list[Run] = []
    for run in runs:  # best place for each, one after another
        costs = []
        for k in range(len(order) + 1):
            costs.append(sum(_cost(o, run) for o in order[:k]) + sum(_cost(run, o) for o in order[k:]))
        order.insert(costs.index(min(costs)), run)
    for _ in range(8):
        moved = False
        for run in list(order):
            k = order.index(run)
            rest = order[:k] + order[k + 1 :]
            costs = [
                sum(_cost(o, run) for o in rest[:j]) + sum(_cost(run, o) for o in rest[j:])
                for j in range(len(rest) + 1)
            ]
            best = costs.index(min(costs))
            if costs[best] < costs[k]:
                order, moved = [*rest[:best], run, *rest[best:]], True
        if not moved:
            break
    return order


def _clash(order: list[Run]) -> Run | None:
    """A run that can neither lie above nor below another it shares a column with."""
    for i, a in enumerate(order):
        for b in order[i + 1 :]:
            if _cost(a, b) >= FORBIDDEN:
                return a if len(a.above) + len(a.below) >= 2 and a.above and a.below else b
    return None


def _break(run: Run, runs: list[Run]) -> list[Run]:
    """Upper and lower half of a run, joined in a column no pin of the channel stands in."""
    taken = {x for r in runs for x in (*r.above, *r.below)}
    column = (run.low + run.high) // 2 // GRID * GRID
    step = 0
    while column + step in taken:
        step = -step + GRID if step <= 0 else -step
    column += step
    lower = Run(run.net, [column], run.below)
    upper = Run(run.net, run.above, [column], joined=lower)
    return [upper if r is run else r for r in runs] + [lower]


def _tracks(order: list[Run]) -> int:
    """Give every run the highest track its place in the order allows; returns how many there are."""
    for i, run in enumerate(order):
        run.track = 0
        for other in order[:i]:
            apart = other.high + CLEAR <= run.low or run.high + CLEAR <= other.low
            if not apart:
                run.track = max(run.track, other.track + 1)
    return max((r.track + 1 for r in order), default=0)


def route(pins: dict[int, tuple[list[int], list[int]]]) -> list[Run]:
    """Runs of a channel with their tracks. `pins[net]` is (columns from above, columns from below)."""
    runs = [Run(net, sorted(set(a)), sorted(set(b))) for net, (a, b) in pins.items() if len({*a, *b}) > 1]
    runs.sort(key=lambda r: (r.low, r.high, r.net))
    straight = {x for a, b in pins.values() if len({*a, *b}) == 1 for x in (*a, *b)}
    for _ in range(len(runs) + 1):
        order = _sorted(runs)
        clash = _clash(order)
        if clash is None or not (clash.above and clash.below):
            break
        extra = [Run(-1, [x], [x]) for x in sorted(straight)]
        runs = [r for r in _break(clash, runs + extra) if r.net >= 0]
    _tracks(order)
    return order
