"""Events of a battery or another supply: cranking, short drops, the beginning of charge.

12.6 ____                    ____14 charge_start
         |      ripple      |
      8 v|_/~~~~~~~~~~~~~~~~|          crank_start is where it begins to fall,
         crank_start        crank_end  crank_end where it begins to rise for good
"""

from __future__ import annotations

import numpy as np

from amptrail.recording.coarse import Coarse, Placed, coarse, place
from amptrail.recording.events import Event, Watched

BIN_S = 0.005
LOOK_S = 0.6  # level before: mean of this long
CRANK_SHARE = 0.08  # of the level before: a starter takes a twelfth and more (1 V of 12.5; common practice)
CRANK_S = 0.2  # shorter is a drop-out
STAYS_S = 0.6  # longer than one period of the 2 Hz ripple of ISO 16750-2
DROP_SHARE = 0.15  # a short drop counts from here on
CHARGING_V = (13.2, 26.4)  # FACTS section 5: charging 13.5 to 14.8 V
RESTING_V = (13.0, 26.0)


def supply(w: Watched) -> list[Event]:
    """Cranking, drop-outs and the beginning of charge, in order of time."""
    c = coarse(w.channel, BIN_S)
    if c.mean.shape[0] < 4:
        return []
    out: list[Event] = []
    at = 0
    while (hit := _falls(c, at)) is not None:
        end = _rises(c, hit)
        out += _dip(w, c, hit, end)
        at = (end if end is not None else c.mean.shape[0]) + 1
    return sorted(out + _charge(w, c), key=lambda e: e.t_s)


def _level(c: Coarse, k: int) -> float:
    return float(np.median(c.mean[max(k - c.bins(LOOK_S), 0) : max(k, 1)]))


def _falls(c: Coarse, at: int) -> int | None:
    """First bin from `at` on that lies well below the level before it."""
    w = min(c.bins(LOOK_S), max(c.mean.shape[0] // 4, 1))
    total = np.concatenate(([0.0], np.cumsum(c.mean)))
    k = np.arange(at + 1, c.mean.shape[0])
    begin = np.maximum(np.maximum(k - w, at), 0)
    before = (total[k] - total[begin]) / np.maximum(k - begin, 1)
    rest = np.minimum(before, RESTING_V[_system(c)])  # the alternator stopping is no start
    deep = c.mean[k] < rest - np.maximum(CRANK_SHARE * rest, 6 * c.noise / np.sqrt(c.width))
    short = c.low[k] < rest - np.maximum(DROP_SHARE * rest, 6 * c.noise)
    hit = np.flatnonzero(deep | short)
    return int(k[hit[0]]) if hit.shape[0] else None


def _system(c: Coarse) -> int:
    """0 for 12 V, 1 for 24 V."""
    return 1 if float(np.median(c.mean)) > 18.0 else 0


def _rises(c: Coarse, hit: int) -> int | None:
    """The bin where it is back for good, or None when it never is."""
    before = _level(c, hit)
    stay = c.bins(STAYS_S)
    deep = float(c.mean[hit : hit + c.bins(0.03)].min())
    k = hit
    while k < c.mean.shape[0]:
        body = c.mean[hit : max(k, hit + 1)]
        usual = float(np.median(body)) if body.shape[0] > c.bins(0.1) else deep
        line = (before + usual) / 2
        if c.mean[k] > line and float(c.mean[k : k + stay].min()) > line:
            return k
        k += max(1, c.bins(0.005))
    return None


def _dip(w: Watched, c: Coarse, hit: int, end: int | None) -> list[Event]:
    before = _level(c, hit)
    stop = end if end is not None else c.mean.shape[0]
    long = (stop - hit) * c.dt_s >= CRANK_S
    deepest = float(c.low[hit:stop].min()) if stop > hit else before
    if not long and before - deepest < DROP_SHARE * before:
        return []
    first, last = ("crank_start", "crank_end") if long else ("dropout_start", "dropout_end")
    floor = float(c.mean[hit : hit + c.bins(0.02)].min()) if long else deepest
    begin = _near(w, c, hit, before, floor)
    out = [_event(w, first, begin, deepest)]
    if end is not None:
        tail = c.mean[max(hit, end - c.bins(0.3)) : max(end - 1, hit + 1)]
        usual = float(np.median(tail)) if long and tail.shape[0] else deepest
        after = (
            float(np.median(c.mean[end + c.bins(0.15) : end + c.bins(LOOK_S)]))
            if end + c.bins(0.15) < c.mean.shape[0]
            else float(c.mean[-1])
        )
        out.append(_event(w, last, _near(w, c, end, usual, after), deepest))
    return out


def _near(w: Watched, c: Coarse, k: int, before: float, after: float) -> Placed:
    """A change near bin k, placed among the samples."""
    reach = max(c.bins(0.12), 3)
    return place(
        w.channel,
        (k - reach) * c.width,
        min((k + max(c.bins(0.06), 3)) * c.width, w.channel.samples),
        before,
        after,
        c.noise,
    )


def _event(w: Watched, kind: str, at: Placed, value: float) -> Event:
    return Event(at.t_s, kind, w.channel.name, at.confidence, at.t_low_s, at.t_high_s, value)


def _charge(w: Watched, c: Coarse) -> list[Event]:
    """The first time after rest that the level stays where only an alternator or charger brings it."""
    system = _system(c)
    stay = c.bins(0.5)
    high = c.mean > CHARGING_V[system]
    out: list[Event] = []
    resting = False
    k = 0
    while k < c.mean.shape[0]:
        if c.mean[k] < RESTING_V[system]:
            resting = True
        elif (
            resting
            and high[k]
            and float(c.mean[k : k + stay].min()) > RESTING_V[system]
            and k + stay // 2 < c.mean.shape[0]
        ):
            before = float(np.median(c.mean[max(k - c.bins(0.1) - 1, 0) : max(k - 1, 1)]))
            after = (
                float(np.median(c.mean[k + 1 : k + 1 + stay]))
                if k + 1 < c.mean.shape[0]
                else float(c.mean[k])
            )
            out.append(
                _event(w, "charge_start", _near(w, c, k, min(before, RESTING_V[system]), after), after)
            )
            resting = False
        k += 1
    return out
