"""Whether instants lie evenly, found out while they go by and without keeping them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.float64]


@dataclass
class Ruler:
    """Instants so far. Each block is held against the straight line from the first instant of all to its own
    last one; how far that line lies from the last one of all bounds what was off in it."""

    count: int = 0
    first: float = 0.0
    last: float = 0.0
    ahead: bool = True  # every instant later than the one before
    seen: list[tuple[float, float, int]] = field(default_factory=list)  # most off, s a sample, samples so far

    def add(self, t: Times) -> None:
        """The next instants (n,), s."""
        n = int(t.shape[0])
        if n == 0:
            return
        if self.count == 0:
            self.first = float(t[0])
        elif not t[0] > self.last:
            self.ahead = False
        begin = self.count
        self.count += n
        self.last = float(t[-1])
        dt = (self.last - self.first) / max(self.count - 1, 1)
        away = np.arange(n, dtype=np.float64)
        away *= -dt
        away += t
        away -= self.first + dt * begin
        off = max(float(away.max()), -float(away.min()))
        # nobody can be further off than half a distance and be in order: then order needs no look of its own
        tame = np.isfinite(off) and off < dt / 2
        self.ahead = self.ahead and bool(tame or (np.isfinite(off) and (t[1:] > t[:-1]).all()))
        self.seen.append((off, dt, self.count))

    def even(self, share: float) -> float | None:
        """Their distance, s, when none is further than `share` of it from its even place; None otherwise."""
        if not self.ahead or self.count < 2:
            return None
        dt = (self.last - self.first) / (self.count - 1)
        most = max(share * dt, 4e-16 * abs(self.first)) * 2
        worst = max(off + abs(own - dt) * n for off, own, n in self.seen)
        return dt if dt > 0 and worst <= most else None
