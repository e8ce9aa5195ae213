"""Relays, modules, alternators: the next discrete state from one solution (compiled)."""

from __future__ import annotations

from numba import njit

from amptrail.solve.plain import put, truth
from amptrail.solve.records import Lane, Static, Work

TRUE, INPUT, SIGNAL, PHASE, BUS, AND, OR, NOT, HOLD, PULSE = range(10)
LATE_S = 1e-9  # a deadline reached within a nanosecond has passed
FORGOTTEN = -1e30


@njit(cache=True, nogil=True)
def expression(net: Static, w: Work, item: int, phase: int, t: float, commit: bool) -> int:
    """Value of an item's program over w.new; with `commit` its timers take note of a settled state."""
    at = net.at
    new = w.new
    top = 0
    for pc in range(net.item_code[item, 0], net.item_code[item, 1]):
        op, a, b = net.code[pc, 0], net.code[pc, 1], net.code[pc, 2]
        if op == TRUE:
            w.stack[top] = 1
            top += 1
        elif op == INPUT:
            w.stack[top] = new[at[7] + a]
            top += 1
        elif op == SIGNAL:
            w.stack[top] = new[at[8] + a]
            top += 1
        elif op == PHASE:
            w.stack[top] = 1 if phase == a else 0
            top += 1
        elif op == BUS:
            w.stack[top] = new[at[8] + a] if new[at[1] + b] and new[at[2] + b] else 0
            top += 1
        elif op in (AND, OR):
            for _ in range(a - 1):
                top -= 1
                if op == AND:
                    w.stack[top - 1] &= w.stack[top]
                else:
                    w.stack[top - 1] |= w.stack[top]
        elif op == NOT:
            w.stack[top - 1] = 1 - w.stack[top - 1]
        else:
            w.stack[top - 1] = _timer(net, w, op, a, w.stack[top - 1], t, commit)
    return int(w.stack[0])


@njit(cache=True, nogil=True)
def _timer(net: Static, w: Work, op: int, k: int, e: int, t: float, commit: bool) -> int:
    was = w.prev[k]
    running = t < w.until[k] - LATE_S
    if op == HOLD:
        value = 1 if e or (was and net.hold_s[k] > 0.0) or running else 0
    else:
        value = 1 if e and ((not was and net.hold_s[k] > 0.0) or running) else 0
    if commit:
        if op == HOLD:
            if e:
                w.until[k] = FORGOTTEN
            elif was:
                w.until[k] = t + net.hold_s[k]
        elif not e:
            w.until[k] = FORGOTTEN
        elif not was:
            w.until[k] = t + net.hold_s[k]
        w.prev[k] = e
    return value


@njit(cache=True, nogil=True)
def module(net: Static, lane: Lane, w: Work, m: int, phase: int, t: float, commit: bool) -> None:
    """Write module m's part of w.new from the solution in w."""
    at, new = net.at, w.new
    r = net.mod_range[m]
    ground = w.v[net.mod_ground[m]]
    alive = False
    if lane.module[m] != 2:
        for s in range(r[0], r[1]):
            alive |= w.v[net.sup_node[s]] - ground >= lane.least[s]
    for i in range(r[2], r[3]):
        u = w.v[net.in_node[i]] - ground
        on, off = lane.level[i, 0], lane.level[i, 1]
        was = w.state[at[7] + i]
        edge = off if was else on
        level = u <= edge if net.in_low[i] else u >= edge
        new[at[7] + i] = 1 if level and not lane.input[i] else 0
    new[at[1] + m] = alive
    if not alive:
        for k in range(w.prev.size):
            if net.timer_mod[k] == m:
                w.prev[k] = 0
                w.until[k] = FORGOTTEN
    awake_signal = net.mod_awake[m]
    awake = alive
    if not (alive and awake_signal >= 0 and lane.module[m] != 1):
        new[at[2] + m] = awake
    for k in range(r[4], r[5]):
        u = net.item_unit[k]
        value = expression(net, w, k, phase, t, commit) if alive else 0
        if net.item_kind[k] == 0:
            if u == awake_signal:
                if lane.module[m] == 1:
                    value = 1 if alive else 0
                new[at[2] + m] = value
            new[at[8] + u] = value
        else:
            _driver(net, lane, w, u, value, int(alive and new[at[2] + m]), alive and net.key_on[phase] == 1)


@njit(cache=True, nogil=True)
def _driver(net: Static, lane: Lane, w: Work, d: int, when: int, awake: int, key: bool) -> None:
    """A trip is forgotten when the request ends; one that latches until key-off not before the key is off."""
    at, new = net.at, w.new
    if lane.driver[d] == 1:
        new[at[3] + d] = 1
        return
    if not when:
        if not (net.drv_key[d] and key):
            new[at[4] + d] = 0
    elif w.state[at[3] + d] and w.peak[d] > lane.limit[d]:
        new[at[4] + d] = 1
    runs = when and (awake or net.drv_asleep[d]) and not new[at[4] + d] and lane.driver[d] != 0
    new[at[3] + d] = 1 if runs else 0


@njit(cache=True, nogil=True)
def advance(net: Static, lane: Lane, w: Work, part: int, phase: int, t: float) -> None:
    """Write the next state of one part into w.new (which the caller made a copy of w.state)."""
    at = net.at
    unit = net.parts[part, 1]
    if net.parts[part, 0] == 0:
        b = net.coil[unit]
        u = abs(w.i[b]) * lane.p[b, 0]  # across the winding itself: not across a resistance in series
        was = w.state[at[0] + unit]
        w.new[at[0] + unit] = u >= lane.pull_drop[unit, 1] if was else u >= lane.pull_drop[unit, 0]
    elif net.parts[part, 0] == 1:
        module(net, lane, w, unit, phase, t, truth(False))
    else:
        on = net.spins[phase, unit] == 1
        if on and net.field[unit] >= 0:
            on = w.state[at[6] + unit] == 1 or w.i[net.field[unit]] >= lane.excite[unit]
        w.new[at[6] + unit] = on


@njit(cache=True, nogil=True)
def commit(net: Static, lane: Lane, w: Work, phase: int, t: float) -> None:
    """Timers take note of the settled state."""
    put(w.new, w.state)
    for m in range(net.mod_ground.size):
        module(net, lane, w, m, phase, t, truth(True))
