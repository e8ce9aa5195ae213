"""Relays, modules, alternators: the next discrete state from one solution (compiled)."""

from __future__ import annotations

import math

from numba import njit

from amptrail.solve.plain import put, truth, whole
from amptrail.solve.records import Array, Lane, Static, Work

TRUE, INPUT, SIGNAL, PHASE, BUS, AND, OR, NOT, HOLD, PULSE = range(10)
LATE_S = 1e-9  # a deadline reached within a nanosecond has passed
FORGOTTEN = -1e30


@njit(cache=True, nogil=True)
def _modules(
    first: int, last: int, phase: int, t: float, commit: bool, key: bool, at: Array, state: Array, new: Array,
    v: Array, prev: Array, until: Array, peak: Array, stack: Array, rows: Array, mod_ground: Array,
    mod_awake: Array, sup_node: Array, in_node: Array, in_low: Array, item_kind: Array, item_unit: Array,
    item_code: Array, code: Array, hold_s: Array, timer_mod: Array, drv_key: Array, drv_asleep: Array,
    held: Array, least: Array, level: Array, dead: Array, driver: Array, limit: Array,
) -> None:  # fmt: skip
    """Modules first ... last-1 into `new` from the solution. Arrays only: a look into the tuples costs as
    much as several steps of a program."""
    alives, awakes, drivers, trips, inputs, signals = at[1], at[2], at[3], at[4], at[7], at[8]
    for m in range(first, last):
        ground = v[mod_ground[m]]
        alive = False
        if held[m] != 2:
            for s in range(rows[m, 0], rows[m, 1]):
                alive |= v[sup_node[s]] - ground >= least[s]
        for i in range(rows[m, 2], rows[m, 3]):
            u = v[in_node[i]] - ground
            edge = level[i, 1] if state[inputs + i] else level[i, 0]
            on = u <= edge if in_low[i] else u >= edge
            new[inputs + i] = 1 if on and not dead[i] else 0
        new[alives + m] = alive
        if not alive:
            for k in range(prev.size):
                if timer_mod[k] == m:
                    prev[k] = 0
                    until[k] = FORGOTTEN
        awake_signal = mod_awake[m]
        if not (alive and awake_signal >= 0 and held[m] != 1):
            new[awakes + m] = alive
        for item in range(rows[m, 4], rows[m, 5]):
            unit = item_unit[item]
            top = value = 0
            for pc in range(item_code[item, 0], item_code[item, 1]) if alive else range(0):
                op, a, b = code[pc, 0], code[pc, 1], code[pc, 2]
                if op <= BUS:
                    put_on = 1
                    if op == INPUT:
                        put_on = new[inputs + a]
                    elif op == SIGNAL:
                        put_on = new[signals + a]
                    elif op == PHASE:
                        put_on = 1 if phase == a else 0
                    elif op == BUS:
                        put_on = new[signals + a] if new[alives + b] and new[awakes + b] else 0
                    stack[top] = put_on
                    top += 1
                elif op in (AND, OR):
                    for _ in range(a - 1):
                        top -= 1
                        if op == AND:
                            stack[top - 1] &= stack[top]
                        else:
                            stack[top - 1] |= stack[top]
                elif op == NOT:
                    stack[top - 1] = 1 - stack[top - 1]
                else:
                    e, was, lasts = stack[top - 1], prev[a], hold_s[a]
                    running = t < until[a] - LATE_S
                    if op == HOLD:
                        stack[top - 1] = 1 if e or (was and lasts > 0.0) or running else 0
                    else:
                        stack[top - 1] = 1 if e and ((not was and lasts > 0.0) or running) else 0
                    if commit:
                        if bool(e) == (op == HOLD):
                            until[a] = FORGOTTEN
                        elif bool(was) == (op == HOLD):
                            until[a] = t + lasts
                        prev[a] = e
            if alive:
                value = stack[0]
            if item_kind[item] == 0:
                if unit == awake_signal:
                    if held[m] == 1:
                        value = 1 if alive else 0
                    new[awakes + m] = value
                new[signals + unit] = value
                continue
            # a trip is forgotten when the request ends; one that latches until key-off not before the key is
            if driver[unit] == 1:
                new[drivers + unit] = 1
                continue
            if not value:
                if not (drv_key[unit] and alive and key):
                    new[trips + unit] = 0
            elif state[drivers + unit] and peak[unit] > limit[unit]:
                new[trips + unit] = 1
            awake = alive and new[awakes + m]
            runs = value and (awake or drv_asleep[unit]) and not new[trips + unit] and driver[unit] != 0
            new[drivers + unit] = 1 if runs else 0


@njit(cache=True, nogil=True)
def modules(
    net: Static, lane: Lane, w: Work, first: int, last: int, phase: int, t: float, commit: bool
) -> None:
    """Write the part of modules first ... last-1 of w.new from the solution in w; with `commit` their timers
    take note of a settled state."""
    _modules(
        first, last, phase, t, commit, net.key_on[phase] == 1, net.at, w.state, w.new, w.v, w.prev, w.until,
        w.peak, w.stack, net.mod_range, net.mod_ground, net.mod_awake, net.sup_node, net.in_node, net.in_low,
        net.item_kind, net.item_unit, net.item_code, net.code, net.hold_s, net.timer_mod, net.drv_key,
        net.drv_asleep, lane.module, lane.least, lane.level, lane.input, lane.driver, lane.limit,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _relays(
    first: int, last: int, relays: int, coil: Array, amps: Array, p: Array, pull_drop: Array, state: Array,
    new: Array,
) -> None:  # fmt: skip
    """Relays first ... last-1 into `new` from the solution."""
    for r in range(first, last):
        b = coil[r]
        u = abs(amps[b]) * p[b, 0]  # across the winding itself: not across a resistance in series
        new[relays + r] = u >= pull_drop[r, 1] if state[relays + r] else u >= pull_drop[r, 0]


@njit(cache=True, nogil=True)
def _relay(net: Static, lane: Lane, w: Work, first: int, last: int) -> None:
    _relays(first, last, net.at[0], net.coil, w.i, lane.p, lane.pull_drop, w.state, w.new)


@njit(cache=True, nogil=True)
def _alternator(net: Static, lane: Lane, w: Work, unit: int, phase: int) -> None:
    on = net.spins[phase, unit] == 1
    if on and net.field[unit] >= 0:
        on = w.state[net.at[6] + unit] == 1 or w.i[net.field[unit]] >= lane.excite[unit]
    w.new[net.at[6] + unit] = on


@njit(cache=True, nogil=True)
def advance(net: Static, lane: Lane, w: Work, part: int, phase: int, t: float) -> None:
    """Write the next state of one part into w.new (which the caller made a copy of w.state)."""
    unit = net.parts[part, 1]
    if net.parts[part, 0] == 0:
        _relay(net, lane, w, whole(unit), whole(unit + 1))
    elif net.parts[part, 0] == 1:
        modules(net, lane, w, whole(unit), whole(unit + 1), phase, t, truth(False))
    else:
        _alternator(net, lane, w, whole(unit), phase)


@njit(cache=True, nogil=True)
def advance_all(net: Static, lane: Lane, w: Work, phase: int, t: float) -> None:
    """Write the next state of every part into w.new from one solution. A module hears what those before it
    say now, and no module hears a relay or an alternator but through the circuit."""
    put(w.new, w.state)
    _relay(net, lane, w, whole(0), whole(net.coil.size))
    modules(net, lane, w, whole(0), whole(net.mod_ground.size), phase, t, truth(False))
    for a in range(net.field.size):
        _alternator(net, lane, w, whole(a), phase)


@njit(cache=True, nogil=True)
def commit(net: Static, lane: Lane, w: Work, phase: int, t: float) -> None:
    """Timers take note of the settled state."""
    put(w.new, w.state)
    modules(net, lane, w, whole(0), whole(net.mod_ground.size), phase, t, truth(True))


@njit(cache=True, nogil=True, error_model="numpy")
def room(net: Static, lane: Lane, w: Work) -> tuple[float, float]:
    """How far any voltage (V) and any current (A) may move before a relay, module, driver or alternator would
    switch."""
    at, state, v, amps_of = net.at, w.state, w.v, w.i
    relays, drivers, inputs = at[0], at[3], at[7]
    volts = amps = math.inf
    coil, pull_drop, p = net.coil, lane.pull_drop, lane.p
    for r in range(coil.size):
        b = coil[r]
        edge = pull_drop[r, 1] if state[relays + r] else pull_drop[r, 0]
        volts = min(volts, abs(abs(amps_of[b]) * p[b, 0] - edge))
    mod_ground, rows, sup_node, least = net.mod_ground, net.mod_range, net.sup_node, lane.least
    in_node, level = net.in_node, lane.level
    for m in range(mod_ground.size):
        ground = v[mod_ground[m]]
        for s in range(rows[m, 0], rows[m, 1]):
            volts = min(volts, abs(v[sup_node[s]] - ground - least[s]))
        for i in range(rows[m, 2], rows[m, 3]):
            edge = level[i, 1] if state[inputs + i] else level[i, 0]
            volts = min(volts, abs(v[in_node[i]] - ground - edge))
    drv_branch, limit, field, excite = net.drv_branch, lane.limit, net.field, lane.excite
    for d in range(drv_branch.size):
        if state[drivers + d]:
            amps = min(amps, abs(abs(amps_of[drv_branch[d]]) - limit[d]))
    for a in range(field.size):
        if field[a] >= 0:
            amps = min(amps, abs(amps_of[field[a]] - excite[a]))
    return volts, amps
