"""Settling to a fixed point, fuses, the drive cycle with its timers (compiled)."""

from __future__ import annotations

import numpy as np
from numba import njit

from amptrail.solve.logic import LATE_S, advance, advance_all, commit
from amptrail.solve.newton import again, foreseen, pulses
from amptrail.solve.plain import put, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import ROW
from amptrail.solve.trail import Trail, follow, note, note_fuses, note_odd, note_rest, passes_on

SETTLED, RACE, CHATTER, NOT_CONVERGED = range(4)
AT_REST, NOT_SOLVED = -1, -2
BLOWS_AT = 1.35  # x rating: a fuse opens for good (laws oracle-1)
EVENTS = 20000  # timers that may end within one phase; more of them and its end is not known


@njit(cache=True, nogil=True)
def _hash(state: Array, more: int) -> int:
    h = np.int64(1469598103934665603) ^ np.int64(more + 1)
    for k in range(state.size):
        h = (h ^ np.int64(state[k] + 7)) * np.int64(1099511628211)
        h ^= h >> np.int64(29)
    return int(h)


@njit(cache=True, nogil=True)
def _met(seen: Array, count: int, h: int) -> bool:
    for k in range(count):  # noqa: SIM110  compiled code: a plain loop
        if seen[k] == h:
            return True
    return False


@njit(cache=True, nogil=True)
def _same(state: Array, new: Array) -> bool:
    for k in range(state.size):  # noqa: SIM110
        if state[k] != new[k]:
            return False
    return True


@njit(cache=True, nogil=True)
def _together(net: Static, lane: Lane, w: Work, phase: int, t: float, trail: Trail) -> int:
    """All parts from one solution: 0 settled, 1 a state came back, 3 no convergence."""
    for k in range(w.seen.size):
        h = _hash(w.state, whole(0))
        if _met(w.seen, k, h):
            return 1
        w.seen[k] = h
        follow(net, lane, w, trail, phase)
        if passes_on(w, trail) and foreseen(net, lane, w, phase):
            advance_all(net, lane, w, phase, t)
            if not _same(w.state, w.new):
                put(w.state, w.new)
                continue
        if not again(net, lane, w, phase):
            return 3
        note(net, lane, w, trail, phase)
        if pulses(net, lane, w):
            note_odd(trail)
        advance_all(net, lane, w, phase, t)
        if _same(w.state, w.new):
            note_rest(w, trail, phase)
            return 0
        put(w.state, w.new)
    return 1


@njit(cache=True, nogil=True)
def _one(net: Static, lane: Lane, w: Work, phase: int, t: float, first: int, way: int) -> int:
    """Advance the first part from `first` on, round-robin, that wants to change; -1 none, else the next.
    `way` 1: in sheet order; -1: in the opposite one."""
    count = net.parts.shape[0]
    for k in range(count):
        part = (first + way * k) % count
        put(w.new, w.state)
        advance(net, lane, w, part, phase, t)
        if not _same(w.state, w.new):
            put(w.state, w.new)
            return int((part + way) % count)
    return -1


@njit(cache=True, nogil=True)
def _record(net: Static, w: Work, fresh: bool) -> None:
    n = net.nodes
    for k in range(w.low.size):
        value = w.v[k] if k < n else w.i[k - n]
        w.low[k] = value if fresh else min(w.low[k], value)
        w.high[k] = value if fresh else max(w.high[k], value)
    across = w.v[w.tap[0]] - w.v[w.tap[1]]
    w.span[0] = across if fresh else min(w.span[0], across)
    w.span[1] = across if fresh else max(w.span[1], across)


@njit(cache=True, nogil=True)
def _tour(net: Static, lane: Lane, w: Work, phase: int, t: float, turn: int) -> int:
    """Once round the loop, keeping the lowest and highest of everything and which states change."""
    first = turn
    put(w.prior, w.state)
    w.toured[:] = 0
    for k in range(w.seen.size):
        if not again(net, lane, w, phase):
            return 3
        _record(net, w, k == 0)
        before = turn
        turn = _one(net, lane, w, phase, t, before, whole(1))
        if turn < 0:
            return 0
        away = 0
        for s in range(w.state.size):
            if w.state[s] != w.prior[s]:
                w.toured[s] = 1
                away += 1
        if away == 0 and turn == first:
            break
    return 2


@njit(cache=True, nogil=True)
def _in_turn(net: Static, lane: Lane, w: Work, phase: int, t: float, way: int) -> int:
    """One part at a time until nothing wants to change (AT_REST), or the part that a loop comes back to."""
    turn: int = whole(0 if way > 0 else net.parts.shape[0] - 1)
    for k in range(w.seen.size):
        h = _hash(w.state, turn)
        if _met(w.seen, k, h):
            break
        w.seen[k] = h
        if not again(net, lane, w, phase):
            return NOT_SOLVED
        turn = _one(net, lane, w, phase, t, turn, way)
        if turn < 0:
            return AT_REST
    return turn


@njit(cache=True, nogil=True)
def _relax(net: Static, lane: Lane, w: Work, phase: int, t: float, trail: Trail) -> int:
    """Status of relays, modules and alternators brought to rest (fuses stay)."""
    got = _together(net, lane, w, phase, t, trail)
    if got != 1:
        return got
    w.known[ROW] = -1
    prev, until = w.prev.copy(), w.until.copy()
    put(w.prior, w.state)
    turn = _in_turn(net, lane, w, phase, t, whole(1))
    if turn == NOT_SOLVED:
        return 3
    if turn >= 0:
        return _tour(net, lane, w, phase, t, turn)
    put(w.raced, w.state)
    mine, mine_until = w.prev.copy(), w.until.copy()
    put(w.state, w.prior)
    put(w.prev, prev)
    put(w.until, until)
    ended = _in_turn(net, lane, w, phase, t, whole(-1)) == AT_REST
    put(w.other, w.state if ended else w.raced)
    put(w.state, w.raced)
    put(w.prev, mine)
    put(w.until, mine_until)
    return 1 if again(net, lane, w, phase) else 3


@njit(cache=True, nogil=True)
def _blow(net: Static, lane: Lane, w: Work) -> bool:
    """Open the worst fuse above 1.35 x rating; False when none is."""
    worst, most, fuses = -1, BLOWS_AT, net.at[5]
    warm, rating, state = w.warm, lane.rating, w.state
    for f in range(warm.size):
        over = warm[f] / rating[f]
        if not state[fuses + f] and over > most:
            worst, most = f, over
    if worst >= 0:
        state[fuses + worst] = 1
    return worst >= 0


@njit(cache=True, nogil=True)
def settle(net: Static, lane: Lane, w: Work, phase: int, t: float, trail: Trail) -> int:
    """Bring everything to rest at time t; fuses blow one by one. The worst status met in the last round."""
    worst = 0
    for _ in range(net.fuse_branch.size + 1):
        status = _relax(net, lane, w, phase, t, trail)
        note_fuses(w, trail)
        worst = max(worst, status)
        if status != SETTLED:
            note_odd(trail)
        if status >= CHATTER or not _blow(net, lane, w):
            break
        note_odd(trail)
    return worst


@njit(cache=True, nogil=True)
def live(
    net: Static, lane: Lane, w: Work, phase: int, begin: float, end: float, trail: Trail
) -> int:  # fmt: skip
    """One phase from `begin` to `end` seconds, timer events included. Status at the end."""
    status = settle(net, lane, w, phase, begin, trail)
    if status < CHATTER:
        commit(net, lane, w, phase, begin)
    until = w.until
    for _ in range(EVENTS):
        at = np.inf
        for k in range(until.size):
            if begin + LATE_S < until[k] <= end + LATE_S:
                at = min(at, until[k])
        if at == np.inf:
            break
        begin = at
        status = settle(net, lane, w, phase, at, trail)
        if status < CHATTER:
            commit(net, lane, w, phase, at)
    else:
        return NOT_CONVERGED
    return status
