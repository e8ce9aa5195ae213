"""Figures of a channel, over all of it or between two instants: level, drop, sag, frequency, duty, charge
moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from amptrail.recording.channel import Channel
from amptrail.recording.contacts import clock
from amptrail.recording.edges import edges
from amptrail.recording.events import Event, watch
from amptrail.recording.ripple import ripple

CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Measure:
    """Over first..last instant, s: mean, lowest, highest, effective value (root of the mean square), in the
    channel's unit;
    `frequency_hz` and `duty` of a clock; `charge_mah` of a current."""

    channel: str
    unit: str
    begin_s: float
    end_s: float
    mean: float
    low: float
    high: float
    effective: float
    frequency_hz: float | None = None
    duty: float | None = None
    charge_mah: float | None = None
    ripple_hz: float | None = None
    ripple_v: float | None = None


def measure(channel: Channel, begin_s: float | None = None, end_s: float | None = None) -> Measure:
    """Figures between two instants (all of the channel without them)."""
    first = channel.index(begin_s) if begin_s is not None else 0
    last = channel.index(end_s) + 1 if end_s is not None else channel.samples
    last = max(last, first + 1)
    total = square = 0.0
    low, high = np.inf, -np.inf
    for a in range(first, last, CHUNK):
        x = channel.values(a, min(a + CHUNK, last))
        total += float(x.sum())
        square += float((x * x).sum())
        low, high = min(low, float(x.min())), max(high, float(x.max()))
    n = last - first
    hz, duty = _clock(channel, first, last)
    mah = total * channel.dt_s / 3.6 if channel.unit == "A" else None
    wave = ripple(channel, first, last) if channel.unit == "V" and hz is None else None
    return Measure(
        channel.name, channel.unit, channel.time(first), channel.time(last - 1), total / n, low, high,
        float(np.sqrt(square / n)), hz, duty, mah,
        wave.frequency_hz if wave else None, wave.peak_to_peak if wave else None,
    )  # fmt: skip


def _clock(channel: Channel, first: int, last: int) -> tuple[float | None, float | None]:
    at = watch(channel).levels
    if not at.two:
        return None, None
    found = clock([e for e in edges(channel, at) if first <= e.k < last])
    return found if found is not None else (None, None)


@dataclass(frozen=True, slots=True)
class Crank:
    """One start seen on a supply: how deep, how high on average, how long, and how long until 90 % of the
    fall is back."""

    channel: str
    begin_s: float
    end_s: float | None
    before: float
    lowest: float
    mean: float
    recovery_s: float | None


def cranks(channel: Channel, events: Sequence[Event]) -> list[Crank]:
    """The starts of a supply channel, from its events."""
    out: list[Crank] = []
    mine = [e for e in events if e.channel == channel.name]
    for e in mine:
        if e.kind != "crank_start" or e.value is None:
            continue
        end = next((x.t_s for x in mine if x.kind == "crank_end" and x.t_s > e.t_s), None)
        body = (
            measure(channel, e.t_s + 0.07, end)
            if end is None or end > e.t_s + 0.14
            else measure(channel, e.t_s, end)
        )
        before = measure(channel, e.t_s - 0.5, e.t_s - 2 * channel.dt_s).mean
        lowest = measure(channel, e.t_s, end).low
        out.append(
            Crank(
                channel.name,
                e.t_s,
                end,
                before,
                lowest,
                body.mean,
                _recovery(channel, end, before, body.mean),
            )
        )
    return out


def _recovery(channel: Channel, end: float | None, before: float, during: float) -> float | None:
    if end is None:
        return None
    first = channel.index(end)
    x = channel.values(first, min(first + CHUNK, channel.samples))
    back = np.flatnonzero(x >= during + 0.9 * (before - during))
    return float(back[0]) * channel.dt_s if back.shape[0] else None
