"""What a channel looks like as a whole: its noise, and the two levels it goes between if it does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from amptrail.recording.channel import Channel

SAMPLE_RUNS, RUN = 64, 512  # noise is taken from runs of neighbouring samples spread over the channel
GRAIN_SHARE = 0.02  # of neighbours one step apart: coarse steps of a noisy signal, not its changes
COARSEST = 0.1  # of the whole range: a step of the scope is not larger
BINS = 400
SPIKES = (
    0.005,
    0.02,
    0.05,
)  # of the samples at either end that may be spikes: a relay, an injector, a fast one
FAINT = 0.005  # of the whole range: less is a step or two of an 8-bit scope
APART = 0.35  # of the range: two levels lie at least this far apart


@dataclass(frozen=True, slots=True)
class Levels:
    """Lower and upper level and noise (standard deviation), in the channel's unit; `two` when it goes
    between them."""

    low: float
    high: float
    noise: float
    two: bool

    @property
    def step(self) -> float:
        """Distance of the levels."""
        return self.high - self.low

    @property
    def middle(self) -> float:
        """Half-way between the levels."""
        return (self.high + self.low) / 2


def noise(channel: Channel) -> float:
    """Standard deviation of a sample around its neighbours: the median |difference| of neighbours / 0.954.

    Source: median absolute deviation of a normal difference, 0.6745 * sqrt 2 (general statistics).
    """
    n = channel.samples
    if n < 3:
        return 0.0
    starts = np.linspace(0, max(n - RUN, 0), min(SAMPLE_RUNS, max(n // RUN, 1))).astype(np.int64)
    spread = [np.abs(np.diff(channel.values(int(s), min(int(s) + RUN, n)))) for s in np.unique(starts)]
    joined = np.concatenate(spread)
    sigma = float(np.median(joined)) / 0.954
    moving = joined[joined > 0]
    if sigma == 0.0 and moving.shape[0] > GRAIN_SHARE * joined.shape[0]:
        # 8-bit steps: most neighbours are equal, many are one step apart; a step that is a good part of all
        # the channel does is no grain but what it does (fast pulses without noise)
        grain = float(np.median(moving))
        whole = float(channel.overview.high.max() - channel.overview.low.min())
        return grain / 12**0.5 if grain <= COARSEST * whole else 0.0
    return sigma


def levels(channel: Channel) -> Levels:
    """Two levels by the split of the block means that leaves least spread within the halves.

    Blocks inside a change have any mean and are left out. `two` is false for a channel whose halves are no
    clusters.
    """
    seen = channel.overview
    sigma = noise(channel)
    span = seen.high - seen.low
    quiet = span <= max(8 * sigma, 1e-9) + 0.05 * float(seen.high.max() - seen.low.min())
    x = seen.mean[quiet].astype(np.float64)
    ends = np.array([float(seen.low.min()) + 2 * sigma, float(seen.high.max()) - 2 * sigma])
    if x.shape[0] < 2 or float(x.max() - x.min()) < APART * float(ends[1] - ends[0]):
        x = _samples(channel)  # short, or never quiet for a block: look at the samples
    low, high, share = _split(x)
    whole = float(seen.high.max() - seen.low.min())
    two = high - low > max(6 * sigma, 1e-6) and high - low >= APART * whole and share < 0.12
    if two:
        fewer = float(np.mean(x <= (low + high) / 2))
        if min(fewer, 1 - fewer) >= SPIKES[0]:
            return Levels(low, high, sigma, True)
    under = _under_spikes(channel, sigma, whole, low, high)
    # the two levels of a channel are not its one spike of 600 V; where nothing is under the rarest samples,
    # they are what happened
    return Levels(low, high, sigma, True) if two and not under.two else under


def _under_spikes(channel: Channel, sigma: float, whole: float, low: float, high: float) -> Levels:
    """The levels once more without the rarest samples: a winding let go of stands far above its two levels
    for a few ms."""
    x = _samples(channel)
    for rare in SPIKES:
        least, most = (float(v) for v in np.quantile(x, (rare, 1 - rare)))
        lower, upper, share = _split(np.clip(x, least, most))
        apart = upper - lower
        if apart > max(6 * sigma, FAINT * whole, 1e-6) and apart >= APART * (most - least) and share < 0.12:
            return Levels(lower, upper, sigma, True)
    return Levels(low, high, sigma, False)


def _samples(channel: Channel) -> np.ndarray:
    n = channel.samples
    if n <= 1_000_000:
        return channel.values(0, n)
    starts = np.linspace(0, n - RUN, 1000).astype(np.int64)
    return np.concatenate([channel.values(int(s), int(s) + RUN) for s in starts])


def _split(x: np.ndarray) -> tuple[float, float, float]:
    """(lower, upper level, spread within the halves as a share of the spread between them)."""
    ends = float(x.min()), float(x.max())
    if ends[1] <= ends[0]:
        return ends[0], ends[1], 1.0
    count, edge = np.histogram(x, BINS, ends)
    mid = (edge[:-1] + edge[1:]) / 2
    weight = np.cumsum(count).astype(np.float64)
    total = np.cumsum(count * mid)
    rest = weight[-1] - weight
    with np.errstate(divide="ignore", invalid="ignore"):
        between = (total / weight - (total[-1] - total) / rest) ** 2 * weight * rest
    k = int(np.nanargmax(np.where((weight > 0) & (rest > 0), between, np.nan)))
    lower, upper = x[x <= edge[k + 1]], x[x > edge[k + 1]]
    low, high = float(np.median(lower)), float(np.median(upper))
    within = float(np.median(np.abs(lower - low)) + np.median(np.abs(upper - high))) / 2
    return low, high, within / (high - low) if high > low else 1.0
