"""Events of a clamp: steps of the current, going to sleep, being woken, cranking."""

from __future__ import annotations

import itertools

import numpy as np

from amptrail.recording.coarse import Coarse, coarse, place
from amptrail.recording.events import Event, Watched

BIN_S = 0.02
SIDE = 6  # bins each side of a step that are compared
LEAST_A = 0.005  # a clamp shows 5 mA at best (JOB.md section 6, from memory)
SLEEP_A = 0.1  # asleep at or below this (FACTS section 6: 20 to 85 mA allowed by different sources)
CRANK_A = 60.0  # no other consumer takes this for long (common practice)
HOLDS_S = 5.0
MOST = 300  # a clamp with more steps is one on pulses: they are what they are
SHARE, SAME = 0.05, 0.5  # a step is a twentieth of the level; half of what a step must have is none


def steps(w: Watched) -> list[Event]:
    """Every step with the level after it; what steps mean (asleep, woken, cranking) is said beside them."""
    c = coarse(w.channel, BIN_S)
    n = c.mean.shape[0]
    if n < 2 * SIDE:
        return []
    places = _real(c, _places(c))
    cut = [0, *places, n]
    level = [_level(c, a, b) for a, b in itertools.pairwise(cut)]
    out: list[Event] = []
    quiet = False
    for i, k in enumerate(places):
        before, after = level[i], level[i + 1]
        at = place(w.channel, (k - 2) * c.width, (k + 2) * c.width, before, after, c.noise)

        def event(kind: str, at: object = at, after: float = after) -> Event:
            return Event(at.t_s, kind, w.channel.name, at.confidence, at.t_low_s, at.t_high_s, after)  # type: ignore[attr-defined]

        out.append(event("step"))
        holds = (cut[i + 2] - k) * c.dt_s
        if abs(after) >= CRANK_A > abs(before):
            out.append(event("crank_start"))
        elif abs(before) >= CRANK_A > abs(after):
            out.append(event("crank_end"))
        if not quiet and abs(after) <= SLEEP_A < abs(before) and (holds >= HOLDS_S or i + 1 == len(places)):
            out.append(event("asleep"))
            quiet = True
        elif quiet and abs(after) > max(SLEEP_A, 3 * abs(before)):
            out.append(event("woken"))
            quiet = False
        elif not quiet and i == 0 and abs(before) <= SLEEP_A < abs(after):
            out.append(event("woken"))
    return out


def _real(c: Coarse, places: list[int]) -> list[int]:
    """Without places at which the level is the same on both sides as a whole: among so many bins noise goes
    over any limit some time. The least one goes first, then its neighbours are looked at anew."""
    while 0 < len(places) <= MOST:
        cut = [0, *places, c.mean.shape[0]]
        level = [_level(c, a, b) for a, b in itertools.pairwise(cut)]
        size = [abs(b - a) / max(LEAST_A, SHARE * max(abs(a), abs(b))) for a, b in itertools.pairwise(level)]
        least = int(np.argmin(size))
        if size[least] >= SAME:
            break
        places = [p for k, p in enumerate(places) if k != least]
    return places


def _level(c: Coarse, first: int, last: int) -> float:
    a, b = (first + 1, last - 1) if last - first > 4 else (first, last)
    return float(np.median(c.mean[a : max(b, a + 1)]))


def _places(c: Coarse) -> list[int]:
    """Bins at which the mean of the bins after differs from that of the bins before."""
    n = c.mean.shape[0]
    total = np.concatenate(([0.0], np.cumsum(c.mean)))
    k = np.arange(SIDE, n - SIDE + 1)
    after = (total[k + SIDE] - total[k]) / SIDE
    before = (total[k] - total[k - SIDE]) / SIDE
    d = np.abs(after - before)
    sigma = c.noise / np.sqrt(c.width) * np.sqrt(2 / SIDE)
    need = np.maximum(np.maximum(5 * sigma, LEAST_A), SHARE * np.maximum(np.abs(after), np.abs(before)))
    out: list[int] = []
    j = 0
    while j < d.shape[0]:
        if d[j] > need[j]:
            stop = j
            while stop + 1 < d.shape[0] and d[stop + 1] > need[stop + 1] and stop - j < 4 * SIDE:
                stop += 1
            out.append(int(k[j + int(np.argmax(d[j : stop + 1]))]))
            j = max(stop + 1, out[-1] - SIDE + SIDE // 2 + 1)
        j += 1
    return out
