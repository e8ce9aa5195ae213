"""Tolerances of readings, linearised: one adjoint solve a point gives the slope by every parameter.

At a solved operating point the linearised network is G v = j. For a reading r = v_a - v_b the adjoint
y = G^-1 (e_a - e_b) gives dr/d ln p = (y_a - y_b) of the parameter's branch times what the parameter does
there: its current for a resistance (or anything the current is proportional to), -g emf for an emf.
Source: adjoint network sensitivity (Director and Rohrer 1969; from memory), checked against
`slopes.sensitivities`, which moves each parameter and solves again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit, prange

from amptrail.solve import laws
from amptrail.solve.kernel import lane_of
from amptrail.solve.laws import CURRENT, NONE, RES
from amptrail.solve.network import Network
from amptrail.solve.newton import LEAK_S, conducts, linear
from amptrail.solve.readings import Readings, tap_nodes
from amptrail.solve.records import Array, Lane, Static
from amptrail.solve.runs import Floats, Runs

CHUNK = 256  # lanes whose matrices are held at once
EMF_KINDS = (laws.BATTERY, laws.ONEWAY)
LOADED_FLOOR_V = 0.1


@njit(cache=True, nogil=True, error_model="numpy")
def _slope(net: Static, lane: Lane, phase: int, state: Array, b: int, u: float, i: float) -> float:
    """Siemens of one branch at its operating point; 0 where it does not conduct."""
    kind = lane.kind[b]
    if kind in (NONE, CURRENT) or lane.open[b]:
        return 0.0
    if not conducts(net, lane, phase, state, net.gate[b], net.unit[b]):
        return 0.0
    if kind == RES:
        r, _ = linear(net, lane, state, b)
        return 1.0 / r
    p = lane.p[b]
    x = u - i * lane.series[b]
    if kind == laws.DIODE:
        x = u - i * (lane.series[b] + p[2])
        _, g = laws.current(kind, x, p[0], p[1], p[2], p[3])
        return float(g / (1.0 + g * (lane.series[b] + p[2])))
    _, g = laws.current(kind, x, p[0], p[1], p[2], p[3])
    return float(g / (1.0 + g * lane.series[b]))


@njit(cache=True, nogil=True, parallel=True, error_model="numpy")
def _matrices(
    net: Static,
    lanes: Lane,
    phase: int,
    states: Array,
    volts: Array,
    amps: Array,
    first: int,
    g: Array,
    m: Array,
) -> None:
    """Fill g[lane, branch] and the nodal matrix m[lane, node, node] for lanes first...; ground: v = 0."""
    for n in prange(g.shape[0]):
        k = first + n
        lane = lane_of(lanes, k)
        for b in range(lane.kind.size):
            a, z = lane.na[b], lane.nb[b]
            s = _slope(net, lane, phase, states[k], b, volts[k, a] - volts[k, z], amps[k, b])
            g[n, b] = s
            if a != z:
                m[n, a, a] += s
                m[n, z, z] += s
                m[n, a, z] -= s
                m[n, z, a] -= s
        for v in range(net.nodes):
            m[n, v, v] += LEAK_S
        m[n, net.ground, :] = 0.0
        m[n, net.ground, net.ground] = 1.0


@dataclass(frozen=True, eq=False)
class _Places:
    """Every place a parameter acts: branch, number in the branch's p, parameter number, sigma."""

    branch: np.ndarray
    index: np.ndarray
    parameter: np.ndarray
    sigma: np.ndarray


def _places(network: Network, fixed_supply: bool) -> _Places:
    rows = []
    for k, p in enumerate(network.parameters):
        for array, index in p.places:
            if array != "p" or p.sigma <= 0.0:
                continue
            emf = network.base.kind[index[0]] in EMF_KINDS and index[1] == 0
            if not (fixed_supply and emf):
                rows.append((index[0], index[1], k, p.sigma))
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return _Places(table[:, 0].astype(int), table[:, 1].astype(int), table[:, 2].astype(int), table[:, 3])


def _motor(kind: np.ndarray, index: np.ndarray, i: Floats, p: Floats) -> Floats:
    """How a running motor's current moves with its numbers, A per relative change: along the line from
    (knee, break) to (run volts, run current), knee = stall ohms x break, at share f of it."""
    motor = kind == laws.MOTOR
    stall, breaks, runs, volts = (np.where(motor, p[:, :, k], x) for k, x in enumerate((0.0, 0.0, 1.0, 1.0)))
    span = np.where(runs > breaks, runs - breaks, 1.0)
    line = np.where(volts > stall * breaks, volts - stall * breaks, 1.0)
    f = (i - breaks) / span
    bend = (runs - breaks) * (f - 1.0) / line * stall * breaks
    moves = np.stack([bend, breaks * (1.0 - f) + bend, runs * f, np.zeros_like(f)])
    return np.asarray(np.take_along_axis(moves, np.broadcast_to(index % 4, f.shape)[None], 0)[0], np.float64)


def _acts(kind: np.ndarray, index: np.ndarray, i: Floats, g: Floats, p: Floats) -> Floats:
    """What a relative change of a branch's p[index] does there, A: a resistance acts as its current (its
    share of it where more is in series), an emf as -g emf, a current's size as -current; a number the
    branch does not use now as nothing."""
    own = np.take_along_axis(p, index[None, :, None].repeat(len(p), 0), 2)[:, :, 0]
    stalled, limited = np.abs(i) <= p[:, :, 1], g == 0.0
    rules = (
        (kind == RES) & (index == 0),
        (kind == laws.BATTERY) & (index == np.where(i > 0.0, 1, 2)),
        (kind == laws.ONEWAY) & (index == 1),
        (kind == laws.MOTOR) & (index == 0) & stalled,
        (kind == laws.SAT) & (index == 0) & ~limited,
        (kind == laws.DIODE) & (index == 2),
    )
    flowing = (kind == laws.LAMP) & (index == 1) | (kind == laws.SAT) & (index == 1) & limited
    running = (kind == laws.MOTOR) & ~stalled
    emf = np.isin(kind, EMF_KINDS) & (index == 0)
    out = np.where(np.logical_or.reduce(rules), i * g * own, 0.0)
    out = np.where(flowing, -i, out)
    out = np.where(running, -np.sign(i) * _motor(kind, index, np.abs(i), p), out)
    return np.asarray(np.where(emf, -g * own, out), np.float64)


def _taps(network: Network, got: Readings, which: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """End nodes of each tap, and the clamped branch (-1: not a clamp)."""
    ends, clamps = [], []
    for t in which:
        tap = got.taps[t]
        if tap.instrument == "clamp":
            b = network.branch(tap.a)
            ends.append((int(network.base.na[b]), int(network.base.nb[b])))
            clamps.append(b)
        else:
            ends.append(tap_nodes(network, tap))
            clamps.append(-1)
    return np.array(ends, int).reshape(-1, 2), np.array(clamps, int)


def effects(
    network: Network, runs: Runs, got: Readings, slot: int, which: Sequence[int], fixed: bool
) -> Floats:
    """[lane, tap of `which`, parameter]: one sigma of each parameter as a change of the reading (V or A)."""
    lanes = runs.status.shape[0]
    ends, clamps = _taps(network, got, which)
    places = _places(network, fixed)
    out = np.zeros((lanes, len(which), len(network.parameters)))
    s, net = runs.snapshot, network.static
    states = np.ascontiguousarray(s.state[:, slot])
    volts, amps = np.ascontiguousarray(s.volts[:, slot]), np.ascontiguousarray(s.amps[:, slot])
    for first in range(0, lanes, CHUNK):
        count = min(CHUNK, lanes - first)
        g = np.zeros((count, network.base.kind.size))
        m = np.zeros((count, net.nodes, net.nodes))
        _matrices(net, runs.lanes, runs.phases[slot], states, volts, amps, first, g, m)
        out[first : first + count] = _chunk(runs, places, ends, clamps, first, g, m, amps, out.shape[2])
    return _loaded(got, slot, which, volts, ends, clamps, out)


def _chunk(
    runs: Runs,
    places: _Places,
    ends: np.ndarray,
    clamps: np.ndarray,
    first: int,
    g: Floats,
    m: Floats,
    amps: Floats,
    parameters: int,
) -> Floats:
    count, nodes = g.shape[0], m.shape[1]
    rhs = np.zeros((nodes, len(ends)))
    rhs[ends[:, 0], range(len(ends))] += 1.0
    rhs[ends[:, 1], range(len(ends))] -= 1.0
    rhs[runs.network.static.ground] = 0.0
    y = np.linalg.solve(m, np.broadcast_to(rhs, (count, *rhs.shape)))
    row = np.arange(count)[:, None]
    b = places.branch
    na, nb = runs.lanes.na[first : first + count][:, b], runs.lanes.nb[first : first + count][:, b]
    here = slice(first, first + count)
    act = _acts(
        runs.lanes.kind[here][:, b], places.index, amps[here][:, b], g[:, b], runs.lanes.p[here][:, b]
    )
    across = y[row, na] - y[row, nb]  # [lane, place, tap]
    moved = across * act[:, :, None]
    for t, c in enumerate(clamps):
        if c >= 0:
            moved[:, :, t] = moved[:, :, t] * g[:, c, None] - np.where(b == c, act, 0.0)
    moved *= places.sigma[None, :, None]
    out = np.zeros((count, len(ends), parameters))
    for k in range(len(b)):
        out[:, :, places.parameter[k]] += moved[:, k]
    return out


def _loaded(
    got: Readings,
    slot: int,
    which: Sequence[int],
    volts: Floats,
    ends: np.ndarray,
    clamps: np.ndarray,
    out: Floats,
) -> Floats:
    """A burdened reading moves in proportion to the open one it comes from."""
    for t, k in enumerate(which):
        if clamps[t] < 0 and got.taps[k].instrument not in ("meter", "fuse-drop"):
            bare = volts[:, ends[t, 0]] - volts[:, ends[t, 1]]
            steady = np.abs(bare) > LOADED_FLOOR_V
            ratio = np.where(steady, got.value[:, slot, k] / np.where(steady, bare, 1.0), 1.0)
            out[:, t] *= np.clip(ratio, -2.0, 2.0)[:, None]
    return out


def spread(network: Network, runs: Runs, got: Readings) -> Floats:
    """One sigma of every reading over the tolerances [lane, phase, tap]; ohmmeter: 5 % of the value."""
    out = np.zeros(got.value.shape)
    which = [t for t, tap in enumerate(got.taps) if tap.instrument != "ohmmeter"]
    for slot in range(got.value.shape[1]):
        if which:
            e = effects(network, runs, got, slot, which, False)
            out[:, slot, which] = np.sqrt((e**2).sum(axis=2))
    for t, tap in enumerate(got.taps):
        if tap.instrument == "ohmmeter":
            out[:, :, t] = 0.05 * np.abs(got.value[:, :, t])
    return out


def covariance(
    network: Network, runs: Runs, got: Readings, slots: Sequence[int], fixed: Sequence[bool]
) -> Floats:
    """[lane, m, m] of tap m in phase slot slots[m]; `fixed[m]`: the supply was read at that moment, so its
    own tolerance is left out. Tolerances shared by readings stay shared."""
    lanes, count = got.value.shape[0], len(slots)
    e = np.zeros((lanes, count, len(network.parameters)))
    for slot in sorted(set(slots)):
        for known in (False, True):
            which = [t for t in range(count) if slots[t] == slot and fixed[t] == known]
            live = [t for t in which if got.taps[t].instrument != "ohmmeter"]
            if live:
                e[:, live] = effects(network, runs, got, slot, live, known)
    out = np.einsum("lmp,lnp->lmn", e, e)
    for t, tap in enumerate(got.taps):
        if tap.instrument == "ohmmeter":
            out[:, t, t] = (0.05 * got.value[:, slots[t], t]) ** 2
    return np.asarray(out, np.float64)
