"""Events of a channel that goes between two levels: keys, windings, contacts, whatever is switched.

level   ____        _   ______________      __
    ___|    pull_in| |_|bounce         |____|     dropout_start, dropout_end when it comes back soon
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from amptrail.recording.edges import Edge, edges
from amptrail.recording.events import Event, Watched
from amptrail.recording.roles import Role

BOUNCE_S = (
    0.008  # openings within this of a closing are its bounce (FACTS section 3: 2 ms seen; common practice)
)
DROPOUT_S = 0.2  # away for less than this and back is an interruption (ISO 16750-2 momentary drop: 0.1 s)
CHATTER_EDGES, CHATTER_GAP_S, CHATTER_S = (
    8,
    0.35,
    0.06,
)  # common practice: four times and more, one after the other
REGULAR = 0.03  # a clock: lengths of its periods differ by less than this
CLOCK_EDGES = 60

UP_DOWN = {
    Role.KEY: ("key_on", "key_off"),
    Role.CRANK: ("crank_start", "crank_end"),
    Role.MODULE: ("woken", "asleep"),
    Role.BREAK: ("drop_out", "pull_in"),
    Role.COIL_LOW: ("drop_out", "pull_in"),
}


def switched(w: Watched) -> list[Event]:
    """Events of a channel with two levels; none when it keeps one."""
    if not w.levels.two:
        return []
    found = edges(w.channel, w.levels)
    runs, single = _runs(found)
    out = [e for run in runs for e in _run(w, run)]
    return out + _changes(w, single)


def clock(found: Sequence[Edge]) -> tuple[float, float] | None:
    """(frequency in Hz, duty 0..1) when the changes are those of a clock (pulse-width modulation); None
    otherwise."""
    if len(found) < CLOCK_EDGES:
        return None
    up = np.array([e.t_s for e in found if e.up])
    down = np.array([e.t_s for e in found if not e.up])
    n = min(up.shape[0], down.shape[0])
    if n < CLOCK_EDGES // 2 - 1:
        return None
    period = np.diff(up)
    usual = float(np.median(period))
    if usual <= 0 or float(np.median(np.abs(period - usual))) > REGULAR * usual:
        return None
    # edges lie between samples and a median is one of their distances: the mean is finer
    usual = float(np.mean(period[np.abs(period - usual) <= REGULAR * usual + 1e-12]))
    high = down[-n:] - up[:n] if down[0] > up[0] else down[1:n] - up[: n - 1]
    return 1.0 / usual, float(np.clip(np.mean(_middle(high)) / usual, 0.0, 1.0))


def _middle(x: np.ndarray) -> np.ndarray:
    """Without the tenth at either end."""
    cut = x.shape[0] // 10
    return np.sort(x)[cut : x.shape[0] - cut]


def _runs(found: list[Edge]) -> tuple[list[list[Edge]], list[Edge]]:
    """(runs of changes one soon after the other, the changes that stand alone)."""
    runs: list[list[Edge]] = []
    single: list[Edge] = []
    run: list[Edge] = []
    for e in [*found, None]:
        if e is not None and (not run or e.t_s - run[-1].t_s <= CHATTER_GAP_S):
            run.append(e)
            continue
        if len(run) >= CHATTER_EDGES and run[-1].t_s - run[0].t_s >= CHATTER_S:
            runs.append(run)
        else:
            single += run
        run = [e] if e is not None else []
    return runs, single


def _run(w: Watched, run: list[Edge]) -> list[Event]:
    """A buzzing contact, or nothing for a clock (its frequency is a measure, not an event)."""
    if w.role is Role.OTHER and clock(run) is not None:
        return []
    period = np.diff([e.t_s for e in run if e.up == run[0].up])
    first, last = run[0], run[-1]
    name, end = w.channel.name, last.t_s
    out = [Event(first.t_s, "chatter", name, first.confidence, first.t_low_s, first.t_high_s,
                 1.0 / float(np.median(period)), end)]  # fmt: skip
    if len(run) % 2:  # it ends on the other side
        out.append(_change(w, last))
    return out


def _change(w: Watched, e: Edge) -> Event:
    up, down = UP_DOWN.get(w.role, ("pull_in", "drop_out"))
    kind = up if e.up != w.inverted else down
    return Event(e.t_s, kind, w.channel.name, e.confidence, e.t_low_s, e.t_high_s)


def _groups(single: Sequence[Edge]) -> list[list[Edge]]:
    groups: list[list[Edge]] = []
    for e in single:
        if groups and e.t_s - groups[-1][-1].t_s <= BOUNCE_S:
            groups[-1].append(e)
        else:
            groups.append([e])
    return groups


def _changes(w: Watched, single: list[Edge]) -> list[Event]:
    out: list[Event] = []
    groups = _groups(single)
    k = 0
    while k < len(groups):
        here = groups[k]
        on = here[0].up == w.inverted  # what it was before: on
        if len(here) % 2 == 0:
            if on:
                out += _away(w, here[0], here[-1])
        elif on and k + 1 < len(groups) and _back(here, groups[k + 1]):
            out += _away(w, here[0], groups[k + 1][0])
            k += 1
        else:
            out += _bounced(w, here)
        k += 1
    return out


def _back(here: list[Edge], after: list[Edge]) -> bool:
    return len(after) % 2 == 1 and after[0].t_s - here[0].t_s <= DROPOUT_S


def _away(w: Watched, first: Edge, last: Edge) -> list[Event]:
    away = last.t_s - first.t_s
    name = w.channel.name
    return [
        Event(first.t_s, "dropout_start", name, first.confidence, first.t_low_s, first.t_high_s, away),
        Event(last.t_s, "dropout_end", name, last.confidence, last.t_low_s, last.t_high_s, away),
    ]


def _bounced(w: Watched, here: list[Edge]) -> list[Event]:
    change = _change(w, here[0])
    if len(here) == 1:
        return [change]
    e = here[1]
    count = (len(here) - 1) / 2
    return [
        change,
        Event(e.t_s, "bounce", w.channel.name, e.confidence, e.t_low_s, e.t_high_s, count, here[-1].t_s),
    ]
