"""The compiled entry points: whole drive cycles and readings, lanes in parallel."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange

from amptrail.solve import laws
from amptrail.solve.elimination import symbolic
from amptrail.solve.newton import solve
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.settle import CHATTER, NOT_CONVERGED, RACE, live, settle

ROUNDS = 512  # discrete rounds before a settling is called chatter


class Out(NamedTuple):
    """Results and snapshots, leading axes lane and phase."""

    volts: Array
    amps: Array
    status: Array
    state: Array
    x: Array
    prev: Array
    until: Array
    copies: Array
    time: Array
    low: Array
    high: Array
    toured: Array
    raced: Array  # the two ends of a race: parts switching in sheet order, and in the opposite one
    other: Array
    counts: Array  # [lane, 6] sweeps, cold restarts, line searches, not converged, solves, unbalanced


@njit(cache=True, nogil=True)
def lane_of(s: Lane, n: int) -> Lane:
    """A private copy of lane n."""
    return Lane(
        s.kind[n].copy(),
        s.na[n].copy(),
        s.nb[n].copy(),
        s.p[n].copy(),
        s.series[n].copy(),
        s.open[n].copy(),
        s.switch[n].copy(),
        s.relay[n].copy(),
        s.driver[n].copy(),
        s.module[n].copy(),
        s.input[n].copy(),
        s.pull_drop[n].copy(),
        s.excite[n].copy(),
        s.rating[n].copy(),
        s.level[n].copy(),
        s.limit[n].copy(),
        s.least[n].copy(),
    )


@njit(cache=True, nogil=True)
def workspace(net: Static, lane: Lane) -> Work:
    """Scratch for the topology of this lane, its elimination order worked out."""
    n, branches, states = net.nodes, lane.kind.size, net.at[net.at.size - 1]
    slot = np.empty((n, n), np.int32)
    order, start = np.zeros(n, np.int32), np.zeros(n + 1, np.int32)
    near = np.empty(n * (n + 1) // 2, np.int32)
    edges = symbolic(n, net.ground, lane.na, lane.nb, slot, order, start, near)
    timers = net.hold_s.size
    return Work(
        slot,
        order,
        start,
        near,
        np.zeros(edges),
        np.zeros(edges),
        np.zeros(branches),
        np.zeros(branches),
        np.zeros(branches),
        np.zeros(n),
        np.zeros(branches),
        np.zeros(branches),
        np.zeros(states, np.uint8),
        np.zeros(states, np.uint8),
        np.zeros(timers, np.uint8),
        np.full(timers, -1e30),
        np.zeros(64, np.uint8),
        np.zeros(ROUNDS, np.int64),
        np.zeros(n + branches),
        np.zeros(n + branches),
        np.zeros(states, np.uint8),
        np.zeros(states, np.uint8),
        np.zeros(states, np.uint8),
        np.zeros(states, np.uint8),
        np.zeros(n),
        np.zeros(6, np.int64),
        np.zeros(2, np.int64),
        np.zeros(2),
    )


@njit(cache=True, nogil=True)
def _save(net: Static, lane: Lane, w: Work, out: Out, n: int, k: int, status: int, t: float) -> None:
    out.volts[n, k] = w.v
    out.amps[n, k] = w.i
    out.status[n, k] = status
    out.state[n, k] = w.state
    out.x[n, k] = w.x
    out.prev[n, k] = w.prev
    out.until[n, k] = w.until
    out.time[n, k] = t
    for r in range(net.refs.shape[0]):
        out.copies[n, k, r] = lane.p[net.refs[r, 1], 0]
    if status == CHATTER:
        out.low[n, k] = w.low
        out.high[n, k] = w.high
        out.toured[n, k] = w.toured
    if status == RACE:
        out.raced[n, k] = w.raced
        out.other[n, k] = w.other


@njit(cache=True, nogil=True)
def _load(net: Static, lane: Lane, w: Work, out: Out, n: int, k: int) -> float:
    w.state[:] = out.state[n, k]
    w.x[:] = out.x[n, k]
    w.prev[:] = out.prev[n, k]
    w.until[:] = out.until[n, k]
    for r in range(net.refs.shape[0]):
        lane.p[net.refs[r, 1], 0] = out.copies[n, k, r]
    return float(out.time[n, k])


@njit(cache=True, nogil=True)
def _run_one(
    net: Static,
    lanes: Lane,
    phase: Array,
    seconds: Array,
    into: Array,
    begin: Out,
    begin_at: int,
    out: Out,
    n: int,
) -> None:
    lane = lane_of(lanes, n)
    w = workspace(net, lane)
    t = 0.0
    if begin_at >= 0:
        t = _load(net, lane, w, begin, 0, begin_at)
    for k in range(phase.size):
        status = live(net, lane, w, phase[k], t, t + seconds[k])
        t += seconds[k]
        if into[k] >= 0:
            _save(net, lane, w, out, n, into[k], status, t)
    for c in range(w.counts.size):
        out.counts[n, c] = w.counts[c]


@njit(cache=True, nogil=True, parallel=True)
def run_lanes(
    net: Static, lanes: Lane, phase: Array, seconds: Array, into: Array, begin: Out, begin_at: int, out: Out
) -> None:
    """Live through the schedule phase[k] for seconds[k]; its end goes to out[..., into[k]] (-1: no).
    `begin_at` >= 0: every lane starts from begin[0, begin_at], else everything off at t = 0."""
    for n in prange(lanes.kind.shape[0]):
        _run_one(net, lanes, phase, seconds, into, begin, begin_at, out, n)


@njit(cache=True, nogil=True)
def _read_one(
    net: Static,
    lanes: Lane,
    phases: Array,
    runs: Out,
    taps: Array,
    kinds: Array,
    params: Array,
    value: Array,
    low: Array,
    high: Array,
    status: Array,
    state: Array,
    n: int,
) -> None:
    lane = lane_of(lanes, n)
    probe = lane.kind.size - 1
    plain = workspace(net, lane)
    for m in range(taps.shape[0]):
        a, b = taps[m, 0], taps[m, 1]
        lane.na[probe], lane.nb[probe], lane.kind[probe] = a, b, kinds[m]
        lane.p[probe] = params[m]
        w = plain if plain.slot[a, b] >= 0 or a == b else workspace(net, lane)
        for k in range(phases.size):
            t = _load(net, lane, w, runs, n, k)
            w.tap[0], w.tap[1] = a, b
            w.x[probe] = runs.volts[n, k, a] - runs.volts[n, k, b]
            if kinds[m] == laws.DIODE:
                w.x[probe] = 0.0
            got = NOT_CONVERGED
            if runs.status[n, k] != NOT_CONVERGED:
                got = settle(net, lane, w, phases[k], t)
            status[n, k, m] = got
            state[n, k, m] = w.state
            value[n, k, m] = w.v[a] - w.v[b]
            low[n, k, m] = high[n, k, m] = value[n, k, m]
            if got == CHATTER:
                low[n, k, m], high[n, k, m] = w.span[0], w.span[1]


@njit(cache=True, nogil=True, parallel=True)
def read_lanes(
    net: Static,
    lanes: Lane,
    phases: Array,
    runs: Out,
    taps: Array,
    kinds: Array,
    params: Array,
    value: Array,
    low: Array,
    high: Array,
    status: Array,
    state: Array,
) -> None:
    """Connect each tap's instrument at the end of each phase, settle with time stopped, read its volts.
    taps[m] = nodes a, b; kinds[m], params[m] = the instrument as a branch."""
    for n in prange(lanes.kind.shape[0]):
        _read_one(net, lanes, phases, runs, taps, kinds, params, value, low, high, status, state, n)


@njit(cache=True, nogil=True)
def _ohm_one(
    net: Static,
    lanes: Lane,
    fuses: Array,
    taps: Array,
    volts: float,
    ohm: float,
    value: Array,
    ok: Array,
    n: int,
) -> None:
    off = net.closed.shape[0] - 1
    lane = lane_of(lanes, n)
    lane.module[:] = 2
    probe = lane.kind.size - 1
    plain = workspace(net, lane)
    for m in range(taps.shape[0]):
        a, b = taps[m, 0], taps[m, 1]
        lane.na[probe], lane.nb[probe], lane.kind[probe] = b, a, laws.BATTERY
        lane.p[probe, 0], lane.p[probe, 1], lane.p[probe, 2] = volts, ohm, ohm
        w = plain if plain.slot[a, b] >= 0 or a == b else workspace(net, lane)
        w.x[:] = 0.0
        w.state[:] = 0
        w.state[net.at[5] : net.at[6]] = fuses[n]
        for d in range(lane.driver.size):
            w.state[net.at[3] + d] = 1 if lane.driver[d] == 1 else 0
        ok[n, m] = solve(net, lane, w, off)
        value[n, m] = w.v[a] - w.v[b]


@njit(cache=True, nogil=True, parallel=True)
def ohm_lanes(
    net: Static, lanes: Lane, fuses: Array, taps: Array, volts: float, ohm: float, value: Array, ok: Array
) -> None:
    """Ohmmeter: `volts` behind `ohm`; battery and alternator out, modules unpowered, fuses[n] stay open."""
    for n in prange(lanes.kind.shape[0]):
        _ohm_one(net, lanes, fuses, taps, volts, ohm, value, ok, n)


@njit(cache=True, nogil=True)
def frozen(net: Static, lane: Lane, phase: int, runs: Out, n: int, k: int, v: Array, i: Array) -> bool:
    """Volts and amps of a lane with the discrete state of runs[n, k] held."""
    w = workspace(net, lane)
    _load(net, lane, w, runs, n, k)
    ok = solve(net, lane, w, phase)
    v[:] = w.v
    i[:] = w.i
    return ok
