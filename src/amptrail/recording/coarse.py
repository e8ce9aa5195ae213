"""A channel in equal bins (means), for what happens slowly, and a change placed again among the samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.recording.channel import Channel
from amptrail.recording.edges import LOWER, UPPER
from amptrail.recording.levels import noise

Floats = NDArray[np.float64]
MOST_BINS = 400_000
CHUNK = 1 << 20


@dataclass(frozen=True, eq=False)
class Coarse:
    """`mean`, `low`, `high` (bins,) of `width` samples each."""

    channel: Channel
    width: int
    mean: Floats
    low: Floats
    high: Floats
    noise: float  # of one sample

    @property
    def dt_s(self) -> float:
        """Length of a bin, s."""
        return self.width * self.channel.dt_s

    def bins(self, seconds: float) -> int:
        """How many bins are that long, at least one."""
        return max(round(seconds / self.dt_s), 1)


def coarse(channel: Channel, bin_s: float) -> Coarse:
    """Bins of about `bin_s` (longer when there would be too many, one sample when samples are rarer)."""
    width = max(int(bin_s / channel.dt_s), 1, -(-channel.samples // MOST_BINS))
    count = channel.samples // width
    mean, low, high = np.empty(count), np.empty(count), np.empty(count)
    rows = max(CHUNK // width, 1)
    for first in range(0, count, rows):
        last = min(first + rows, count)
        x = channel.values(first * width, last * width).reshape(last - first, width)
        mean[first:last], low[first:last], high[first:last] = x.mean(axis=1), x.min(axis=1), x.max(axis=1)
    return Coarse(channel, width, mean, low, high, noise(channel))


@dataclass(frozen=True, slots=True)
class Placed:
    """Instant of a change, its certainty, and whether it was a slope rather than a step."""

    t_s: float
    t_low_s: float
    t_high_s: float
    confidence: float
    slope: bool


def place(channel: Channel, first: int, last: int, before: float, after: float, sigma: float) -> Placed:
    """Where samples first..last go from level `before` to `after`.

    A step is placed between two samples. A slope is placed where it begins: the straight line through its
    part
    between 30 % and 70 % meets the line of what was before.
    """
    x = channel.values(first, last)
    first = max(first, 0)
    step = after - before
    share = (x - before) / step if step else np.zeros_like(x)
    run = np.concatenate(([0.0], np.cumsum(np.clip(share, 0.0, 1.0) - 0.5)))
    j = int(min(max(np.argmin(run), 1), max(x.shape[0] - 1, 1)))
    inside = _inside(share, j)
    ratio = abs(step) / sigma if sigma > 0 else np.inf
    sure = 0.99 if ratio >= 8 else 0.95 if ratio >= 4 else 0.7
    if inside.shape[0] < 3:
        part = (0.5 - share[j - 1]) / (share[j] - share[j - 1]) if share[j] > share[j - 1] else 0.5
        t = channel.time(first + j - 1 + min(max(float(part), 0.0), 1.0))
        wide = channel.dt_s * max(1.0, 16.0 / ratio**2 if ratio < 6 else 1.0)
        return Placed(t, t - wide, t + wide, sure, False)
    k = np.arange(inside[0], inside[-1] + 1)
    begin, error = _corner(share, k, 1.0 / ratio, channel.dt_s)
    begin = max(begin, _not_before(share, inside, 1.0 / ratio))
    t = channel.time(first + begin)
    wide = channel.dt_s * (1.0 + WIDE * error)
    return Placed(t, t - wide, t + wide, sure, True)


# so much before a slope tells which way the level was already going (a tenth of the 2 Hz ripple of a start)
TREND_S = 0.02
QUIET, SLACK = 0.05, 0.5
WIDE = 2.6  # standard deviations each side: 99 % of a normal error


def _line(k: NDArray[np.int64], y: Floats) -> tuple[float, float, float, float]:
    """Straight line a k + b through samples, its middle and 1 / sum of squared distances from it."""
    a, b = np.polyfit(k, y, 1)
    middle = float(k.mean())
    return float(a), float(b), middle, 1.0 / max(float(((k - middle) ** 2).sum()), 1e-12)


def _corner(share: Floats, slope: NDArray[np.int64], grain: float, dt_s: float) -> tuple[float, float]:
    """(sample at which the slope leaves what was before, its standard deviation in samples).

    Both are straight lines: the slope through `slope`, and the samples of TREND_S before the corner, which is
    therefore found by going round a few times. `grain` is the noise as a share of the change.
    """
    a, b, middle, inverse = _line(slope, share[slope])
    begin = min(max(-b / a if a > 0 else float(slope[0]), 0.0), float(slope[-1]))
    error = grain / max(a, 1e-9) / float(slope.shape[0]) ** 0.5
    for _ in range(6):
        last = int(min(begin, slope[0]))
        first = max(last - max(int(TREND_S / dt_s), 6), 0)
        if last - first < 5:
            break
        before = np.arange(first, last)
        c, d, at, spread = _line(before, share[before])
        if a - c <= 0.3 * a:  # the line before is the slope itself: the guess was too late
            break
        begin = min(max((d - b) / (a - c), 0.0), float(slope[0]))
        variance = 1 / slope.shape[0] + (begin - middle) ** 2 * inverse
        variance += 1 / before.shape[0] + (begin - at) ** 2 * spread
        error = grain * float(variance) ** 0.5 / (a - c)
    return begin, error


def _not_before(share: Floats, inside: NDArray[np.int64], grain: float) -> float:
    """The earliest sample a change can have begun at: what goes in two strides has a landing in its middle,
    and the straight line through that leads far back into what was before.

    From the last sample that is still what was before, the line to the first one that is not, led back.
    """
    quiet = max(QUIET, 3 * grain)
    if quiet >= LOWER:
        return 0.0
    still = np.flatnonzero(share[: inside[0]] <= quiet)
    if still.shape[0] == 0:
        return 0.0
    k = int(still[-1])
    rise = (float(share[inside[0]]) - float(share[k])) / max(int(inside[0]) - k, 1)
    led_back = k - max(float(share[k]), 0.0) / rise if rise > 0 else float(k)
    # a line through few noisy samples: not later than it can be told
    return led_back - SLACK * (int(inside[0]) - k - 1)


def _inside(share: Floats, j: int) -> NDArray[np.int64]:
    """Samples around j that lie on the slope, from the last one below 30 % to the first one above 70 %."""
    left = j
    while left > 0 and share[left - 1] > LOWER:
        left -= 1
    right = j
    while right < share.shape[0] - 1 and share[right] < UPPER:
        right += 1
    return np.arange(left, right + 1)
