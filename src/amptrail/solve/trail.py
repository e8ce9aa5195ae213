"""What the healthy vehicle came through, solve by solve: where every other lane starts from (compiled).

A fault moves most of a vehicle little. When a lane comes to a state of the healthy one (or near one), it
starts from its own last solution moved by what the healthy solution moved between the two states. Nothing but
the number of sweeps depends on it: every answer keeps Kirchhoff's law and the laws of all parts by itself.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from amptrail.solve.plain import put, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.stamping import ROW, UNKNOWN

ROWS = 64  # states kept; a drive cycle has some twenty
FELT_V = 1e-10  # a law whose x moves by less keeps its tangent
FILLED, NOTING, STEP, CLEAN, LIVED = range(5)  # of `at`


class Trail(NamedTuple):
    """One row a state the healthy lane was solved in."""

    phase: Array  # [row]
    state: Array  # [row, state item]
    x: Array  # [row, branch] element voltages, V
    copies: Array  # [row, reference] A copied to the supply
    rests: Array  # [row] 1: in this state it came to rest, once at least; 2: when it first came to it
    warm: Array  # [fuse] the most that heated it whole, A
    step: Array  # [row] in which step of the drive cycle it was first come to
    ends: Array  # [step] the row at rest at its end, -1: none
    state_at: Array  # [step, state item] where each step began
    prev_at: Array  # [step, timer]
    until_at: Array  # [step, timer] s
    time_at: Array  # [step] s
    at: Array  # rows filled; 1 while they are noted; the step; steps before anything odd; steps lived


@njit(cache=True, nogil=True)
def blank(rows: int, states: int, branches: int, refs: int, fuses: int, steps: int, timers: int) -> Trail:
    """A trail nobody has walked."""
    return Trail(
        np.zeros(rows, np.int64),
        np.zeros((rows, states), np.uint8),
        np.zeros((rows, branches)),
        np.zeros((rows, refs)),
        np.zeros(rows, np.uint8),
        np.zeros(fuses),
        np.zeros(rows, np.int64),
        np.full(steps, -1, np.int64),
        np.zeros((steps, states), np.uint8),
        np.zeros((steps, timers), np.uint8),
        np.zeros((steps, timers)),
        np.zeros(steps),
        np.zeros(5, np.int64),
    )


@njit(cache=True, nogil=True)
def unwalked() -> Trail:
    """No trail."""
    none = whole(0)
    return blank(none, none, none, none, none, none, none)


@njit(cache=True, nogil=True)
def nearest_row(phases: Array, states: Array, count: int, phase: int, state: Array) -> int:
    """The row of this phase whose state differs least, the first of equals; -1: none."""
    best, least = -1, state.size + 1
    for r in range(count):
        if phases[r] == phase:
            away = 0
            for s in range(state.size):
                away += state[s] != states[r, s]
            if away < least:
                best, least = r, away
    return best


@njit(cache=True, nogil=True, error_model="numpy")
def follow(net: Static, lane: Lane, w: Work, trail: Trail, phase: int) -> None:
    """Move the warm start by what the healthy solution moves from the row this lane was last at."""
    count = trail.at[FILLED]
    if count == 0 or trail.at[NOTING]:
        return
    here, was = nearest_row(trail.phase, trail.state, count, phase, w.state), w.known[ROW]
    w.known[ROW] = here
    if here < 0 or here == was:
        return
    x, bends, to = w.x, w.bends, trail.x[here]
    if was < 0:
        for b in range(x.size):
            if x[b] != to[b]:
                x[b] = to[b]
                bends[b] = UNKNOWN
    else:
        from_ = trail.x[was]
        for b in range(x.size):
            if abs(to[b] - from_[b]) > FELT_V:
                x[b] += to[b] - from_[b]
                bends[b] = UNKNOWN
    for r in range(net.refs.shape[0]):
        copy = net.refs[r, 1]
        before = trail.copies[was, r] if was >= 0 else lane.p[copy, 0]
        lane.p[copy, 0] += trail.copies[here, r] - before


@njit(cache=True, nogil=True)
def note(net: Static, lane: Lane, w: Work, trail: Trail, phase: int) -> None:
    """Keep what has just been solved."""
    if not trail.at[NOTING]:
        return
    count = trail.at[FILLED]
    near = nearest_row(trail.phase, trail.state, count, phase, w.state)
    if near >= 0:
        same = True
        for s in range(w.state.size):
            same &= trail.state[near, s] == w.state[s]
        if same:
            return
    if count == trail.phase.size:
        note_odd(trail)
        return
    w.known[ROW] = -2  # new
    trail.phase[count], trail.step[count] = phase, trail.at[STEP]
    put(trail.state[count], w.state)
    put(trail.x[count], w.x)
    for r in range(net.refs.shape[0]):
        trail.copies[count, r] = lane.p[net.refs[r, 1], 0]
    trail.at[FILLED] = count + 1


@njit(cache=True, nogil=True)
def note_rest(w: Work, trail: Trail, phase: int) -> None:
    """Nothing switches in the state just solved."""
    if trail.at[NOTING]:
        row = nearest_row(trail.phase, trail.state, trail.at[FILLED], phase, w.state)
        if row >= 0:
            trail.rests[row] = max(trail.rests[row], 2 if w.known[ROW] == -2 else 1)
            w.known[ROW] = -1
            trail.ends[trail.at[STEP]] = row


@njit(cache=True, nogil=True)
def passes_on(w: Work, trail: Trail) -> bool:
    """Whether the healthy vehicle only passes through the state this lane is near, after `follow`."""
    row = w.known[ROW]
    return bool(trail.at[FILLED] > 0 and not trail.at[NOTING] and row >= 0 and not trail.rests[row])


@njit(cache=True, nogil=True)
def note_odd(trail: Trail) -> None:
    """From this step on the healthy vehicle does what another lane is not held against: a fuse of it opens,
    something alternates or is pulsed, or there are too many states."""
    if trail.at[NOTING]:
        trail.at[CLEAN] = min(trail.at[CLEAN], trail.at[STEP])


@njit(cache=True, nogil=True)
def note_step(w: Work, trail: Trail, step: int, t: float) -> None:
    """Where a step of the drive cycle begins."""
    if trail.at[NOTING]:
        trail.at[STEP] = step
        trail.at[LIVED] = step + 1
        put(trail.state_at[step], w.state)
        put(trail.prev_at[step], w.prev)
        put(trail.until_at[step], w.until)
        trail.time_at[step] = t


@njit(cache=True, nogil=True)
def note_fuses(w: Work, trail: Trail) -> None:
    """The most that heats each fuse at any settling."""
    if trail.at[NOTING]:
        for f in range(w.warm.size):
            trail.warm[f] = max(trail.warm[f], w.warm[f])
