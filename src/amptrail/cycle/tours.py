"""Order `time`: what comes round again. A loop is proved by its return to the very same moment."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Protocol

import numpy as np

from amptrail.cycle.timeline import Bits, Floats, Instant
from amptrail.solve.runs import names_of
from amptrail.solve.stepping import Stepper

BUZZ_S = 0.3  # a loop that comes round faster is chatter, a slower one a beat such as a flasher's
ROUNDS = 12  # equal rounds after which a loop is believed although the modules' ticks drift through it
KEPT = 4000  # moments remembered


class Movable(Protocol):
    """Deadlines and heats that a skip of whole rounds moves."""

    heat: dict[str, float]

    def signature(self, t: float) -> tuple[object, ...]:
        """All that decides what comes next, relative to now, but for the modules' ticks."""

    def tick(self, t: float) -> tuple[int, int]:
        """Where now stands between two looks of the modules."""

    def skip(self, by: float) -> None:
        """Move every deadline by so many seconds."""


@dataclass(frozen=True, eq=False)
class _Seen:
    t: float
    bits: Bits
    volts: Floats
    amps: Floats
    heat: dict[str, float]


@dataclass
class Tours:
    """The moments of one leg; `items` is not empty while a loop buzzes."""

    step: Stepper
    known: dict[tuple[object, ...], list[tuple[int, tuple[int, int]]]] = field(default_factory=dict)
    seen: list[_Seen] = field(default_factory=list)
    items: tuple[str, ...] = ()
    low: Floats | None = None
    high: Floats | None = None
    every_s: float | None = None

    def skipped(self, c: Movable, t: float, end: float) -> float:
        """Seconds of whole rounds passed over when this moment has been met before; else 0."""
        w = self.step.work
        self.seen.append(_Seen(t, w.state.copy(), w.v.copy(), w.i.copy(), dict(c.heat)))
        first = self._met(c.signature(t), c.tick(t), t)
        if first is None or len(self.seen) > KEPT:
            return 0.0
        tour = self.seen[first:]
        period = t - tour[0].t
        self.every_s = period
        if period <= BUZZ_S:
            self._buzz(tour)
        rounds = int((end - t) / period)
        for name, now in c.heat.items():  # a fuse that warms from round to round opens in its time
            gained = now - tour[0].heat.get(name, 0.0)
            if gained > 1e-12:
                rounds = min(rounds, max(int((1 - now) / gained) - 1, 0))
        self.forget()
        if rounds < 1:
            return 0.0
        for name, now in c.heat.items():
            c.heat[name] = now + rounds * max(now - tour[0].heat.get(name, 0.0), 0.0)
        c.skip(rounds * period)
        return rounds * period

    def _met(self, signature: tuple[object, ...], tick: tuple[int, int], t: float) -> int | None:
        """Where the loop began: the very same moment, or the same but for the modules' ticks so many times in
        equal steps that looking makes no difference to it."""
        met = self.known.setdefault(signature, [])
        met.append((len(self.seen) - 1, tick))
        for n, at in met[:-1]:
            if at == tick and self.seen[n].t < t:
                return n
        if len(met) <= ROUNDS:
            return None
        when = [self.seen[n].t for n, _ in met[-ROUNDS - 1 :]]
        steps = [b - a for a, b in pairwise(when)]
        even = max(steps) - min(steps) < 1e-7 and 0 < steps[0] <= BUZZ_S
        return met[-2][0] if even else None

    def _buzz(self, tour: list[_Seen]) -> None:
        toured = np.zeros_like(tour[0].bits)
        for m in tour:
            toured |= m.bits != tour[0].bits
        self.items = names_of(self.step.network, toured)
        both = [np.concatenate([m.volts, m.amps]) for m in tour]
        self.low, self.high = np.min(both, axis=0), np.max(both, axis=0)

    def forget(self) -> None:
        """Moments of before no longer count."""
        self.known.clear()
        self.seen.clear()

    def broken(self) -> None:
        """Something that no round undoes has happened: the loop, if any, is over."""
        self.forget()
        self.items, self.low, self.high, self.every_s = (), None, None, None

    def marked(self, now: Instant) -> Instant:
        """The instant with its status while a loop buzzes, and its beat."""
        if self.items and now.status == "settled":
            return replace(
                now, status="chatter", chattering=self.items, low=self.low, high=self.high,
                every_s=self.every_s,
            )  # fmt: skip
        return replace(now, every_s=self.every_s) if self.every_s else now
