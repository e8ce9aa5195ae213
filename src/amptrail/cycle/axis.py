"""A time axis that shows milliseconds and hours: every stretch between two switchings has its place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from amptrail.cycle.lanes import Lanes

FINE_S = 0.001  # stretches count by their decades above this


@dataclass(frozen=True, slots=True)
class Axis:
    """`edges[k]` s stands at `at[k]` (0 to `width`); between two edges nothing switches that is drawn."""

    edges: tuple[float, ...]
    at: tuple[int, ...]
    width: int

    def cell(self, t: float) -> int:
        """Where time t stands: that of the last edge not later than it."""
        best = 0
        for e, x in zip(self.edges, self.at, strict=True):
            if e <= t + 1e-9:
                best = x
        return best


def axis(drawn: Lanes, width: int, most: int, least: int = 1) -> Axis:
    """Spread the edges over `width`: at most `most` stretches, each `least` or wider, longer ones wider by
    their decades of time. Edges of phases are always kept; of the others the closest go first."""
    phase = {b.begin_s for b in drawn.bands} | {b.end_s for b in drawn.bands}
    other = {s[0] for lane in drawn.lanes for s in lane.spans} - phase
    edges = sorted(phase | other)
    while len(edges) - 1 > most and len(edges) > len(phase):
        gaps = [(edges[k + 1] - edges[k], k) for k in range(len(edges) - 1)]
        for _, k in sorted(gaps):
            drop = next((e for e in (edges[k], edges[k + 1]) if e not in phase), None)
            if drop is not None:
                edges.remove(drop)
                break
        else:
            break
    weights = [1 + math.log10(1 + (b - a) / FINE_S) for a, b in pairwise(edges)]
    total, spare = sum(weights), max(width - least * len(weights), 0)
    at, done = [0], 0.0
    for w in weights:
        done += w
        at.append(least * len(at) + math.floor(spare * done / total + 0.5))
    return Axis(tuple(edges), tuple(at), at[-1])


def clock(t: float) -> str:
    """A time for a person: `60.005 s`, `70 s`, `6 min 40 s`, `1 h 6 min`."""
    if t < 120:
        return f"{round(t, 3):g} s"
    if t < 7200:
        minutes, seconds = divmod(t, 60)
        return f"{minutes:.0f} min" + (f" {round(seconds, 3):g} s" if round(seconds, 3) else "")
    hours, rest = divmod(round(t / 60), 60)
    return f"{hours} h" + (f" {rest} min" if rest else "")
