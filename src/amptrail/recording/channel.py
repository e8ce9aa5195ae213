"""A channel: evenly spaced samples on disk, its unit, and between which two points it was taken."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from amptrail.recording.overview import Overview, overview

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Channel:
    """`data` (n,) float32, usually a memory map, as it stands in the file; what it means in V or A is
    `factor * data + offset`.

    `point` and `to` are the two clips in the sheet's names, when somebody said them. `dt_s` > 0; sample k was
    taken at `t0_s + k * dt_s`.
    """

    name: str
    unit: str
    dt_s: float
    t0_s: float
    data: Floats
    point: str | None = None
    to: str | None = None
    factor: float = 1.0
    offset: float = 0.0

    @property
    def samples(self) -> int:
        """How many samples."""
        return int(self.data.shape[0])

    @property
    def end_s(self) -> float:
        """Instant of the last sample, s."""
        return self.time(max(self.samples - 1, 0))

    def time(self, k: float) -> float:
        """Instant of sample k (fractions allowed), s."""
        return self.t0_s + k * self.dt_s

    def index(self, t_s: float) -> int:
        """The sample nearest to an instant, held within the channel."""
        return int(min(max(round((t_s - self.t0_s) / self.dt_s), 0), max(self.samples - 1, 0)))

    def values(self, first: int, last: int) -> NDArray[np.float64]:
        """Samples first <= k < last in the channel's unit, (last - first,)."""
        raw = np.asarray(self.data[max(first, 0) : max(last, 0)], np.float64)
        return raw * self.factor + self.offset

    @cached_property
    def plain(self) -> Overview:
        """Smallest, largest and mean of blocks of samples, as they stand in the file."""
        return overview(self.data)

    @cached_property
    def overview(self) -> Overview:
        """Smallest, largest and mean of blocks of samples, in the channel's unit."""
        return self.plain.scaled(self.factor, self.offset)

    def clipped_to(self, point: str, to: str | None, factor: float = 1.0, offset: float = 0.0) -> Channel:
        """The same channel with its two clips and its scale said."""
        return self.told(point=point, to=to, factor=factor, offset=offset)

    def told(self, **said: Any) -> Channel:
        """The same samples with other words or another scale; what was worked out from the samples stays."""
        fresh = replace(self, **said)
        if "plain" in self.__dict__:
            fresh.__dict__["plain"] = self.plain
        return fresh


@dataclass(frozen=True, eq=False)
class Recording:
    """Channels of one file, what format it was, and what had to be assumed or left out while reading."""

    source: str
    format: str
    channels: tuple[Channel, ...]
    notes: tuple[str, ...] = ()
    start: str | None = None  # wall-clock start where the file tells one

    def channel(self, name: str) -> Channel | None:
        """The channel of that name or number (from 1)."""
        for k, c in enumerate(self.channels, 1):
            if name in (c.name, str(k)) or name.casefold() == c.name.casefold():
                return c
        return None
