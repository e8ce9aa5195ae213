"""The compiled entry points: whole drive cycles and the ohmmeter, a range of lanes at a time.

They hold no lock of the interpreter: `threads.share` gives every thread its own lanes. Tuples come in by
`held.hold`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.elimination import attach, fitted, kept_ends, refitted
from amptrail.solve.held import held, keep
from amptrail.solve.logic import FORGOTTEN, advance, commit, modules
from amptrail.solve.newton import solve
from amptrail.solve.plain import put, truth, whole
from amptrail.solve.records import Array, Lane, Static, Work
from amptrail.solve.settle import CHATTER, RACE, live, settle
from amptrail.solve.stamping import ROW, SAME
from amptrail.solve.trail import Trail, note_step, unwalked

SAME_A = 1e-9  # copied currents of two instants taken as the same
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
def fetch(s: Lane, n: int, into: Lane) -> None:
    """Lane n copied over a private lane: making a new one takes longer than eliminating 60 parts."""
    put(into.kind, s.kind[n])
    put(into.na, s.na[n])
    put(into.nb, s.nb[n])
    put(into.series, s.series[n])
    put(into.open, s.open[n])
    put(into.switch, s.switch[n])
    put(into.relay, s.relay[n])
    put(into.driver, s.driver[n])
    put(into.module, s.module[n])
    put(into.input, s.input[n])
    put(into.excite, s.excite[n])
    put(into.rating, s.rating[n])
    put(into.limit, s.limit[n])
    put(into.least, s.least[n])
    for from_, to in ((s.p[n], into.p), (s.pull_drop[n], into.pull_drop), (s.level[n], into.level)):
        for b in range(to.shape[0]):
            for k in range(to.shape[1]):
                to[b, k] = from_[b, k]


@njit(cache=True, nogil=True)
def workspace(net: Static, lane: Lane) -> Work:
    """Scratch for this lane; its elimination is the healthy one, with arms added where it has bridges."""
    n, branches, states = net.nodes, lane.kind.size, net.at[net.at.size - 1]
    plan = fitted(net.plan, n, net.ground, lane.na, lane.nb)
    arms, timers = plan.near.size, net.hold_s.size
    # many at a time: made one by one they took a quarter of the time of a solution at 60 parts
    arm, pair, node = np.zeros((4, arms)), np.zeros((2, plan.source.size)), np.zeros((4, n))
    branch, toured, one = np.zeros((8, branches)), np.zeros((2, n + branches)), np.zeros((2, 1))
    state, nodes = np.zeros((6, states), np.uint8), np.zeros((2, n), np.uint8)
    listed, pivots = np.zeros((5, branches), np.int32), np.zeros((2, n), np.int32)
    return Work(
        plan,
        arm[0],
        arm[1],
        arm[2],
        arm[3],
        pair[0],
        pair[1],
        nodes[0],
        node[0],
        np.zeros(arms, np.int32),
        listed[0],
        np.zeros(branches, np.uint8),
        listed[1],
        listed[2],
        listed[3],
        listed[4],
        nodes[1],
        pivots[0],
        pivots[1],
        np.zeros(7, np.int64),
        branch[0],
        branch[1],
        branch[2],
        node[1],
        branch[3],
        branch[4],
        branch[5],
        node[2],
        branch[6],
        branch[7],
        state[0],
        state[1],
        np.zeros(timers, np.uint8),
        np.full(timers, -1e30),
        np.zeros(64, np.uint8),
        np.zeros(ROUNDS, np.int64),
        toured[0],
        toured[1],
        state[2],
        state[3],
        state[4],
        state[5],
        node[3],
        np.zeros(6, np.int64),
        np.zeros(2, np.int64),
        np.zeros(2),
        one[0],
        one[1],
        np.zeros(net.drv_branch.size),
        np.zeros(net.fuse_branch.size),
    )


@njit(cache=True, nogil=True)
def home(net: Static, lane: Lane) -> Work:
    """Scratch with every branch at its healthy nodes, where this private lane is then too: see `ready`."""
    _, a, b = kept_ends(net.plan, net.nodes, whole(lane.na.size))
    put(lane.na, a)
    put(lane.nb, b)
    w: Work = held(workspace(net, lane))
    return w


@njit(cache=True, nogil=True)
def ready(net: Static, lane: Lane, mine: Work, other: Work, na: Array, nb: Array) -> tuple[Work, Work]:
    """(scratch for this lane, the next `other`): `mine` from `home` where its plan has arms for the lane,
    `other` where that was made for the same ends (na, nb), else a new one. A snapshot is to be loaded before
    anything is solved."""
    if refitted(net.plan, mine.plan, lane.na, lane.nb):
        return mine, other
    for b in range(na.size):
        if na[b] != lane.na[b] or nb[b] != lane.nb[b]:
            put(na, lane.na)
            put(nb, lane.nb)
            fresh: Work = held(workspace(net, lane))
            return fresh, fresh
    return other, other


@njit(cache=True, nogil=True)
def connected(net: Static, lane: Lane, w: Work, b: int, i: int, j: int) -> Work:
    """Scratch in which branch b runs from node i to j: this one, or another with an arm more."""
    lane.na[b], lane.nb[b] = i, j
    if attach(w.plan, b, i, j):
        return w
    more: Work = held(workspace(net, lane))
    return more


@njit(cache=True, nogil=True)
def _save(net: Static, lane: Lane, w: Work, out: Out, n: int, k: int, status: int, t: float) -> None:
    put(out.volts[n, k], w.v)
    put(out.amps[n, k], w.i)
    out.status[n, k] = status
    put(out.state[n, k], w.state)
    put(out.x[n, k], w.x)
    put(out.prev[n, k], w.prev)
    put(out.until[n, k], w.until)
    out.time[n, k] = t
    for r in range(net.refs.shape[0]):
        out.copies[n, k, r] = lane.p[net.refs[r, 1], 0]
    if status == CHATTER:
        put(out.low[n, k], w.low)
        put(out.high[n, k], w.high)
        put(out.toured[n, k], w.toured)
    if status == RACE:
        put(out.raced[n, k], w.raced)
        put(out.other[n, k], w.other)


@njit(cache=True, nogil=True)
def load(net: Static, lane: Lane, w: Work, out: Out, n: int, k: int) -> float:
    put(w.state, out.state[n, k])
    put(w.x, out.x[n, k])
    put(w.prev, out.prev[n, k])
    put(w.until, out.until[n, k])
    w.known[SAME], w.known[ROW] = 0, -1
    for r in range(net.refs.shape[0]):
        lane.p[net.refs[r, 1], 0] = out.copies[n, k, r]
    return float(out.time[n, k])


@njit(cache=True, nogil=True)
def _comes_back(net: Static, lane: Lane, w: Work, state: Array, prev: Array, copies: Array, t: float) -> bool:
    """Whether this instant is like the one kept in state, prev, copies, with no timer running."""
    for k in range(state.size):
        if state[k] != w.state[k]:
            return False
    for k in range(prev.size):
        if prev[k] != w.prev[k] or w.until[k] > t:
            return False
    for r in range(net.refs.shape[0]):  # noqa: SIM110
        if abs(lane.p[net.refs[r, 1], 0] - copies[r]) > SAME_A:
            return False
    return True


@njit(cache=True, nogil=True)
def _keep(net: Static, lane: Lane, w: Work, state: Array, prev: Array, copies: Array, t: float) -> bool:
    """Note this instant; False when a timer runs, so that it cannot come back."""
    put(state, w.state)
    put(prev, w.prev)
    for r in range(net.refs.shape[0]):
        copies[r] = lane.p[net.refs[r, 1], 0]
    for k in range(w.until.size):  # noqa: SIM110
        if w.until[k] > t:
            return False
    return True


@njit(cache=True, nogil=True)
def _asleep(w: Work) -> None:
    """Everything off, nothing known."""
    w.x[:] = 0.0
    w.v[:] = 0.0
    w.i[:] = 0.0
    w.state[:] = 0
    w.prev[:] = 0
    w.until[:] = FORGOTTEN
    w.counts[:] = 0
    w.known[SAME], w.known[ROW] = 0, -1


@njit(cache=True, nogil=True)
def _run_one(
    net: Static,
    lane: Lane,
    w: Work,
    phase: Array,
    seconds: Array,
    into: Array,
    starts: Array,
    begin: Out,
    begin_at: int,
    out: Out,
    n: int,
    trail: Trail,
    from_: int,
    with_: Array,
) -> None:
    """`run_lanes` of one lane from step `from_` on, until which it was as the healthy one of `trail` is, with
    with_[c] A copied at the beginning of pass c."""
    t = began = 0.0
    _asleep(w)
    if begin_at >= 0:
        t = load(net, lane, w, begin, whole(0), begin_at)
    kept = False
    done = 0  # passes begun
    state, prev, copies = w.state.copy(), w.prev.copy(), np.zeros(net.refs.shape[0])
    if from_ > 0:
        while done < starts.size and starts[done] < from_:
            done += 1
        if done > 0:
            at = starts[done - 1]
            began = trail.time_at[at]
            put(state, trail.state_at[at])
            put(prev, trail.prev_at[at])
            put(copies, with_[done - 1])
            kept = True
            for i in range(w.until.size):
                kept &= trail.until_at[at, i] <= began
        t = trail.time_at[from_]
        put(w.state, trail.state_at[from_])
        put(w.prev, trail.prev_at[from_])
        put(w.until, trail.until_at[from_])
    for k in range(from_, phase.size):
        if done < starts.size and k == starts[done]:
            if kept and _comes_back(net, lane, w, state, prev, copies, t):
                later = (starts.size - done) * (t - began)
                out.time[n] += later
                for p in range(out.until.shape[1]):
                    for i in range(out.until.shape[2]):
                        if out.until[n, p, i] > began:
                            out.until[n, p, i] += later
                break
            kept = _keep(net, lane, w, state, prev, copies, t)
            began = t
            done += 1
        note_step(w, trail, k, t)
        status = live(net, lane, w, phase[k], t, t + seconds[k], trail)
        t += seconds[k]
        if into[k] >= 0:
            _save(net, lane, w, out, n, into[k], status, t)
    for c in range(w.counts.size):
        out.counts[n, c] += w.counts[c]


@njit(cache=True, nogil=True)
def run_lanes(
    net: Static,
    lanes: Lane,
    phase: Array,
    seconds: Array,
    into: Array,
    starts: Array,
    begin: Out,
    begin_at: int,
    out: Out,
    trail: Trail,
    leaves: Array,
    copied: Array,
    first: int,
    last: int,
) -> None:
    """Live through the schedule phase[k] for seconds[k]; its end goes to out[..., into[k]] (-1: no).
    `begin_at` >= 0: every lane starts from begin[0, begin_at], else everything off at t = 0.
    starts[c] is where pass c of the cycle begins: a pass that begins as the one before it did, with no timer
    running, would give the same again, so that what it gave stands, its clock set forward. None given: all
    passes are lived through. `trail`: where lanes start from, or what is to be noted of them. Lane n is lived
    from step leaves[n] on, at whose beginning it is as the healthy one was, with copied[n, c] A copied at the
    beginning of pass c."""
    lane = held(lane_of(lanes, first))
    mine = other = home(net, lane)
    na, nb = np.full(lane.na.size, -1, np.int32), np.full(lane.na.size, -1, np.int32)
    for n in range(first, last):
        if leaves[n] >= phase.size:
            continue
        fetch(lanes, n, lane)
        w, other = ready(net, lane, mine, other, na, nb)
        _run_one(
            net, lane, w, phase, seconds, into, starts, begin, begin_at, out, n, trail, whole(leaves[n]),
            copied[n],
        )  # fmt: skip


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
    lane = held(lane_of(lanes, n))
    lane.module[:] = 2
    probe = lane.kind.size - 1
    plain = held(workspace(net, lane))
    for m in range(taps.shape[0]):
        a, b = taps[m, 0], taps[m, 1]
        lane.kind[probe] = laws.BATTERY
        lane.p[probe, 0], lane.p[probe, 1], lane.p[probe, 2] = volts, ohm, ohm
        w = connected(net, lane, plain, probe, b, a)
        w.x[:] = 0.0
        w.state[:] = 0
        for f in range(fuses.shape[1]):
            w.state[net.at[5] + f] = fuses[n, f]
        for d in range(lane.driver.size):
            w.state[net.at[3] + d] = 1 if lane.driver[d] == 1 else 0
        ok[n, m] = solve(net, lane, w, off)
        value[n, m] = w.v[a] - w.v[b]
        keep(w)


@njit(cache=True, nogil=True)
def ohm_lanes(
    net: Static,
    lanes: Lane,
    fuses: Array,
    taps: Array,
    volts: float,
    ohm: float,
    value: Array,
    ok: Array,
    first: int,
    last: int,
) -> None:
    """Ohmmeter: `volts` behind `ohm`; battery and alternator out, modules unpowered, fuses[n] stay open."""
    for n in range(first, last):
        _ohm_one(net, lanes, fuses, taps, volts, ohm, value, ok, n)


@njit(cache=True, nogil=True)
def frozen(net: Static, lane: Lane, phase: int, runs: Out, n: int, k: int, v: Array, i: Array) -> bool:
    """Volts and amps of a lane with the discrete state of runs[n, k] held."""
    w = held(workspace(net, lane))
    load(net, lane, w, runs, n, k)
    ok = solve(net, lane, w, phase)
    put(v, w.v)
    put(i, w.i)
    keep(w)
    return ok


SETTLE, SOLVE, COMMIT, ADVANCE, NOTE = range(5)


@njit(cache=True, nogil=True)
def step(net: Static, lane: Lane, w: Work, what: int, part: int, phase: int, t: float) -> int:
    """One of the steps a drive cycle is made of, on a lane and scratch kept by the caller.

    SETTLE: the status; SOLVE: 1 when it converged; COMMIT; ADVANCE: what `part` would do next, into w.new;
    NOTE: the timers of module `part` take note."""
    w.known[SAME] = 0
    if what == SETTLE:
        alone = held(unwalked())
        return int(settle(net, lane, w, phase, t, alone))
    if what == SOLVE:
        return int(solve(net, lane, w, phase))
    if what == COMMIT:
        commit(net, lane, w, phase, t)
        return 0
    put(w.new, w.state)
    if what == ADVANCE:
        advance(net, lane, w, part, phase, t)
    else:
        modules(net, lane, w, part, part + 1, phase, t, truth(True))
    return 0
