"""Ripple of a charging supply: what the rectifier of an alternator leaves, its frequency and its height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from amptrail.recording.channel import Channel

CHARGING_V = (13.2, 26.4)  # FACTS section 5: charging 13.5 to 14.8 V
MOST = 1 << 17  # samples looked at
LEAST = 1024
SLOWEST_HZ = 20.0  # an idling alternator makes hundreds of pulses a second; slower is load, not ripple
CLEAR = 200.0  # a line stands this much (23 dB) above the median of the spectrum


@dataclass(frozen=True, slots=True)
class Ripple:
    """`frequency_hz` of the strongest line and `peak_to_peak` of a sine of its size, V."""

    frequency_hz: float
    peak_to_peak: float


def ripple(channel: Channel, first: int, last: int) -> Ripple | None:
    """The ripple between two samples while the supply is charged; None where it is not, or none is clear."""
    seen = channel.overview
    blocks = np.arange(-(-first // seen.block), last // seen.block)
    if blocks.shape[0] == 0:
        return None
    mean = seen.mean[blocks]
    system = 1 if float(np.median(mean)) > 18.0 else 0
    # longest stretch of blocks that are charged
    high = np.concatenate(([False], mean > CHARGING_V[system], [False]))
    change = np.flatnonzero(np.diff(high.astype(np.int8)))
    if change.shape[0] == 0:
        return None
    begins, ends = change[::2], change[1::2]
    n = int(np.argmax(ends - begins))
    a, b = int(blocks[begins[n]]) * seen.block, int(blocks[ends[n] - 1] + 1) * seen.block
    middle, half = (a + b) // 2, min(b - a, MOST) // 2
    if 2 * half < LEAST:
        return None
    x = channel.values(middle - half, middle + half)
    k = np.arange(x.shape[0])
    x = x - np.polyval(np.polyfit(k, x, 1), k)
    window = np.hanning(x.shape[0])
    size = np.abs(np.fft.rfft(x * window))
    lowest = max(int(np.ceil(SLOWEST_HZ * x.shape[0] * channel.dt_s)), 4)
    if lowest + 2 >= size.shape[0]:
        return None
    peak = lowest + int(np.argmax(size[lowest:-1]))
    if size[peak] ** 2 < CLEAR * float(np.median(size[lowest:] ** 2)) or size[peak] <= size[peak - 1]:
        return None
    left, top, right = (float(np.log(max(v, 1e-300))) for v in size[peak - 1 : peak + 2])
    bend = left - 2 * top + right  # parabola through the logarithms (general signal theory)
    part = 0.5 * (left - right) / bend if bend < 0 else 0.0
    hz = (peak + part) / (x.shape[0] * channel.dt_s)
    return Ripple(hz, 4 * float(np.exp(top - 0.25 * (left - right) * part)) / float(window.sum()))
