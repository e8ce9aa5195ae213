"""Changes between two levels, found to the sample.

A change is noticed with hysteresis (30 % and 70 %), then placed where a sharp step fits the samples around
best, and
between two samples by the straight line through the middle level. Blocks of the overview that stay on one
side are
never read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.recording.channel import Channel
from amptrail.recording.levels import Levels

LOWER, UPPER = 0.3, 0.7  # of the step: hysteresis
REACH = 64  # samples each side in which a change is placed
MOST = 200_000  # changes of one channel; more is a clock, told by frequency and duty


@dataclass(frozen=True, slots=True)
class Edge:
    """A change at sample `k` (the first one beyond the middle), instant `t_s` between it and the one
    before, within
    `t_low_s`..`t_high_s` with probability `confidence`."""

    k: int
    t_s: float
    up: bool
    t_low_s: float
    t_high_s: float
    confidence: float


def edges(channel: Channel, at: Levels) -> list[Edge]:
    """Every change between the two levels, in order of time (at most MOST)."""
    low, high = at.low + LOWER * at.step, at.low + UPPER * at.step
    raw = _flips(channel, low, high)
    return [_placed(channel, at, raw, n) for n in range(min(len(raw), MOST))]


def _flips(channel: Channel, low: float, high: float) -> list[tuple[int, bool]]:
    """(sample, up) where the channel, seen with hysteresis, goes to the other side."""
    seen = channel.overview
    side = np.where(seen.low >= high, 1, np.where(seen.high <= low, -1, 0)).astype(np.int8)
    found: list[tuple[int, bool]] = []
    state = 0
    block = seen.block
    count = side.shape[0]
    # blocks that are wholly on the side we are on change nothing; runs of them are skipped at once
    k = 0
    while k < count:
        if side[k] != 0:
            if state != 0 and side[k] != state:
                found.append((k * block, bool(side[k] > 0)))
            state = int(side[k])
            same = np.flatnonzero(side[k : k + 65536] != state)
            k += int(same[0]) if same.shape[0] else min(65536, count - k)
            continue
        stop = k + 1
        while stop < count and side[stop] == 0 and stop - k < 4096:
            stop += 1
        x = channel.values(k * block, min(stop * block, channel.samples))
        state = _inside(x, k * block, low, high, state, found)
        if len(found) > MOST:
            return found
        k = stop
    return found


def _inside(
    x: NDArray[np.float64], first: int, low: float, high: float, state: int, found: list[tuple[int, bool]]
) -> int:
    mark = np.where(x >= high, 1, np.where(x <= low, -1, 0))
    where = np.flatnonzero(mark)
    if where.shape[0] == 0:
        return state
    sides = mark[where]
    before = np.concatenate(([state if state else sides[0]], sides[:-1]))
    for j in np.flatnonzero(sides != before):
        found.append((first + int(where[j]), bool(sides[j] > 0)))
    return int(sides[-1])


def _placed(channel: Channel, at: Levels, raw: list[tuple[int, bool]], n: int) -> Edge:
    k, up = raw[n]
    left = max(k - REACH, raw[n - 1][0] if n else 0, 0)
    right = min(k + REACH, raw[n + 1][0] if n + 1 < len(raw) else channel.samples, channel.samples)
    x = channel.values(left, right)
    sign = 1.0 if up else -1.0
    # squared error of a step at j: everything before on one level, everything from j on on the other; its
    # smallest value
    # is where the running sum of (sample - middle) is lowest
    run = np.concatenate(([0.0], np.cumsum(sign * (np.clip(x, at.low, at.high) - at.middle))))
    j = int(np.argmin(run))
    j = min(max(j, 1), x.shape[0] - 1) if x.shape[0] > 1 else 0
    place = left + j
    if j == 0:
        return Edge(place, channel.time(place), up, channel.time(place), channel.time(place), 0.5)
    a, b = float(x[j - 1]), float(x[j])
    part = (at.middle - a) / (b - a) if (b - a) * sign > 0 else 0.5
    t = channel.time(place - 1 + min(max(part, 0.0), 1.0))
    slope = _slope(x, at, sign, j)
    ratio = at.step / at.noise if at.noise > 0 else np.inf
    wide = max(1.0, 2.0 * at.noise / slope if slope > 0 else 1.0, 16.0 / ratio**2 if ratio < 6 else 1.0)
    sure = 0.99 if ratio >= 8 else 0.95 if ratio >= 4 else 0.8 if ratio >= 2.5 else 0.5
    return Edge(place, t, up, t - wide * channel.dt_s, t + wide * channel.dt_s, sure)


def _slope(x: NDArray[np.float64], at: Levels, sign: float, j: int) -> float:
    """How fast the channel goes through the middle, unit a sample (averaged over the part between 20 % and
    80 %)."""
    y = sign * (x - at.middle) / at.step if at.step > 0 else x * 0
    left = j
    while left > 0 and y[left - 1] > -LOWER and j - left < REACH:
        left -= 1
    right = j
    while right < x.shape[0] - 1 and y[right] < LOWER and right - j < REACH:
        right += 1
    return at.step / max(right - left, 1)
