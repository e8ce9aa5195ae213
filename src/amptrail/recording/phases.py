"""A recording cut into the phases of a drive, by what happened in it; and what each channel read in each of
them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from amptrail.recording.channel import Channel
from amptrail.recording.events import Event

SETTLED = 0.5  # of a phase, its later part: what is read when nothing switches any more
SAME_S = 0.05  # two channels tell the same happening within this
SHORT_S = 0.02  # a phase shorter than this tells no level
MOST = 1_000_000  # samples looked at for one level


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a recording in one phase (asleep, ignition-on, cranking, running, after-run), s."""

    phase: str
    begin_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Feature:
    """What a channel read in a phase: level at its end, lowest and highest in it, noise, in the channel's
    unit."""

    channel: str
    phase: str
    level: float
    low: float
    high: float
    noise: float
    span: Span


def _instants(events: Sequence[Event], kind: str) -> list[float]:
    """Instants of a kind, each once although several channels show it."""
    out: list[float] = []
    for e in sorted((e for e in events if e.kind == kind), key=lambda e: e.t_s):
        if not out or e.t_s - out[-1] > SAME_S:
            out.append(e.t_s)
    return out


def spans(events: Sequence[Event], begin_s: float, end_s: float) -> tuple[Span, ...]:
    """The phases of a recording, in order. A start without a key channel is a start all the same; what
    comes after the
    key is after-run until something says asleep."""
    turns = [(t, "ignition-on") for t in _instants(events, "key_on")]
    turns += [(t, "cranking") for t in _instants(events, "crank_start")]
    turns += [(t, "running") for t in _instants(events, "crank_end")]
    turns += [(t, "after-run") for t in _instants(events, "key_off")]
    turns += [(t, "charging") for t in _instants(events, "charge_start")]
    turns += [(t, "asleep") for t in _instants(events, "asleep")]
    turns += [(t, "awake") for t in _instants(events, "woken")]
    turns.sort()
    if not turns:
        return ()
    first = {
        "ignition-on": "asleep",
        "cranking": "ignition-on",
        "after-run": "running",
        "running": "cranking",
        "awake": "asleep",
        "charging": "ignition-on",
    }
    cut: list[tuple[float, str]] = [(begin_s, first.get(turns[0][1], "awake"))]
    for t, phase in turns:
        now = cut[-1][1]
        keyed = now in ("ignition-on", "cranking", "running")
        if phase == "awake" and (keyed or now == "after-run"):  # the key woke it: that is told already
            continue
        if phase == "asleep" and keyed:  # one module sleeping while the key is on is no sleeping vehicle
            continue
        if phase == "ignition-on" and keyed:
            continue
        if phase == "charging":  # it runs: the start itself may not be recorded, or be none of the sheet's
            if now == "ignition-on":
                cut.append((t, "running"))
            continue
        cut.append((t, phase))
    ends = [t for t, _ in cut[1:]] + [end_s]
    return tuple(Span(p, a, b) for (a, p), b in zip(cut, ends, strict=True) if b - a > 0)


def features(channels: Sequence[Channel], cut: Sequence[Span]) -> tuple[Feature, ...]:
    """What every channel read in every phase long enough to tell a level."""
    out: list[Feature] = []
    for c in channels:
        for s in cut:
            begin, end = max(s.begin_s, c.t0_s), min(s.end_s, c.end_s)
            if end - begin < max(SHORT_S, 8 * c.dt_s):
                continue
            settled = end - (end - begin) * SETTLED
            last = c.index(end) - 1  # the last sample belongs to the change
            first = max(c.index(settled), last - MOST)
            x = c.values(first, last)
            whole = c.values(max(c.index(begin) + 2, last - MOST), last)
            if x.shape[0] < 4:
                continue
            noise = float(np.median(np.abs(np.diff(x)))) / 0.954
            out.append(
                Feature(
                    c.name, s.phase, float(np.median(x)), float(whole.min()), float(whole.max()), noise, s
                )
            )
    return tuple(out)
