"""A min-max-mean overview of a long channel, in blocks, built in one pass over the file.

Pictures and levels come from it, so that 100 million samples are read once and never again as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
BLOCK = 256  # samples a block; 100 M samples leave 390,625 blocks
CHUNK = BLOCK * 4096  # samples read at a time: 4 MB of float32


@dataclass(frozen=True, eq=False)
class Overview:
    """`low`, `high`, `mean` (blocks,) of consecutive blocks of `block` samples (the last one may be
    shorter)."""

    block: int
    samples: int
    low: Floats
    high: Floats
    mean: Floats

    def scaled(self, factor: float, offset: float) -> Overview:
        """The overview of `factor * x + offset`."""
        if factor == 1.0 and offset == 0.0:
            return self
        a, b = (
            self.low * np.float32(factor) + np.float32(offset),
            self.high * np.float32(factor) + np.float32(offset),
        )
        mean = self.mean * np.float32(factor) + np.float32(offset)
        return Overview(self.block, self.samples, np.minimum(a, b), np.maximum(a, b), mean)


def overview(data: Floats, block: int = BLOCK) -> Overview:
    """One pass over `data` (n,), never more than CHUNK samples in memory."""
    n = int(data.shape[0])
    count = -(-n // block)
    low, high, mean = (np.empty(count, np.float32) for _ in range(3))
    step = max(CHUNK // block, 1) * block
    for first in range(0, n, step):
        part = np.asarray(data[first : first + step])
        whole = part.shape[0] // block * block
        at = first // block
        if whole:
            rows = part[:whole].reshape(-1, block)
            to = at + rows.shape[0]
            low[at:to], high[at:to] = rows.min(axis=1), rows.max(axis=1)
            mean[at:to] = rows.mean(axis=1)
            at = to
        rest = part[whole:]
        if rest.shape[0]:
            low[at], high[at], mean[at] = rest.min(), rest.max(), rest.mean()
    return Overview(block, n, low, high, mean)


def window(data: Floats, seen: Overview, first: int, last: int, columns: int) -> tuple[Floats, Floats]:
    """(lowest, highest) of `columns` equal slices of samples first <= k < last, each (columns,).

    From the samples themselves where a slice is shorter than two blocks, else from the overview. `seen`
    must be of `data`
    as it stands (unscaled).
    """
    first, last = max(first, 0), min(last, int(data.shape[0]))
    columns = max(min(columns, last - first), 1)
    edges = np.linspace(first, max(last, first + 1), columns + 1)
    if (last - first) / columns < 2 * seen.block:
        part = np.asarray(data[first:last])
        cut = np.minimum((edges[:-1] - first).astype(np.int64), max(part.shape[0] - 1, 0))
        return np.minimum.reduceat(part, cut), np.maximum.reduceat(part, cut)
    cut = np.minimum((edges[:-1] / seen.block).astype(np.int64), seen.low.shape[0] - 1)
    stop = min(-(-last // seen.block), seen.low.shape[0])
    return np.minimum.reduceat(seen.low[:stop], cut), np.maximum.reduceat(seen.high[:stop], cut)
