"""How far every threshold is from switching, and whether a lane is on the healthy side of all (compiled)."""

from __future__ import annotations

import math

from numba import njit

from amptrail.solve.laid import Over
from amptrail.solve.records import Array, Lane, Static
from amptrail.solve.settle import BLOWS_AT


@njit(cache=True, nogil=True, error_model="numpy")
def margins(
    net: Static, lane: Lane, over: Over, phase: int, state: Array, v: Array, amps: Array, fuses: bool,
    out: Array,
) -> None:  # fmt: skip
    """How far each threshold is from what is held against it: first the volts of relays, supplies and inputs,
    then the amperes of drivers, alternators and fuses. 0 or more is one side, less the other."""
    at, n = net.at, 0
    relays, drivers, blown, charging, inputs = at[0], at[3], at[5], at[6], at[7]
    coil, pull_drop, p = net.coil, lane.pull_drop, lane.p
    for r in range(coil.size):
        edge = pull_drop[r, 1] if state[relays + r] else pull_drop[r, 0]
        out[n] = abs(amps[coil[r]]) * p[coil[r], 0] - edge
        n += 1
    mod_ground, rows, sup_node, in_node = over.mod_ground, net.mod_range, over.sup_node, over.in_node
    in_low, level, dead, least, module = net.in_low, lane.level, lane.input, lane.least, lane.module
    for m in range(mod_ground.size):
        ground = v[mod_ground[m]]
        for s in range(rows[m, 0], rows[m, 1]):
            out[n + s] = v[sup_node[s]] - ground - least[s] if module[m] != 2 else -math.inf
    n += sup_node.size
    for m in range(mod_ground.size):
        ground = v[mod_ground[m]]
        for i in range(rows[m, 2], rows[m, 3]):
            u = v[in_node[i]] - ground
            edge = level[i, 1] if state[inputs + i] else level[i, 0]
            out[n + i] = edge - u if in_low[i] else u - edge
            if dead[i]:
                out[n + i] = -math.inf
    n += in_node.size
    drv_branch, limit = net.drv_branch, lane.limit
    for d in range(drv_branch.size):
        out[n] = limit[d] - abs(amps[drv_branch[d]]) if state[drivers + d] else math.inf
        n += 1
    field, excite, spins = net.field, lane.excite, net.spins
    for a in range(field.size):
        out[n] = math.inf
        if field[a] >= 0 and spins[phase, a] == 1 and not state[charging + a]:
            out[n] = amps[field[a]] - excite[a]
        n += 1
    fuse_branch, rating = net.fuse_branch, lane.rating
    for f in range(fuse_branch.size):
        out[n] = math.inf
        if fuses and not state[blown + f]:
            out[n] = BLOWS_AT * rating[f] - abs(amps[fuse_branch[f]])
        n += 1


@njit(cache=True, nogil=True, error_model="numpy")
def agrees(mine: Array, healthy: Array, volts: int) -> tuple[bool, float, float]:
    """Whether all thresholds are on the healthy side; the least margin in volts (the first `volts` of them)
    and in amperes."""
    same = True
    least_v = least_a = math.inf
    for n in range(mine.size):
        same &= (mine[n] >= 0.0) == (healthy[n] >= 0.0)
        if n < volts:
            least_v = min(least_v, abs(mine[n]))
        else:
            least_a = min(least_a, abs(mine[n]))
    return same, least_v, least_a


@njit(cache=True, nogil=True)
def opening(mine: Array, healthy: Array, rating: Array) -> int:
    """The fuse that is heated most beyond what opens it, where nothing but fuses departs from the healthy
    side; -1: none, or more does."""
    fuses = mine.size - rating.size
    for n in range(fuses):
        if (mine[n] >= 0.0) != (healthy[n] >= 0.0):
            return -1
    worst, most = -1, 0.0
    for f in range(rating.size):
        over = -mine[fuses + f] / rating[f]
        if over > most:
            worst, most = f, over
    return worst
