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
from typing import Any

import numpy as np
from numba import njit

from amptrail.solve import laws
from amptrail.solve.held import held, hold
from amptrail.solve.kernel import Out, fetch, home, lane_of, load, ready
from amptrail.solve.network import Network
from amptrail.solve.newton import edge_after, pulses, steady, tangent
from amptrail.solve.probing import unit_volts
from amptrail.solve.readings import Readings, Tap, tap_nodes
from amptrail.solve.records import Array, Lane, Static
from amptrail.solve.runs import Floats, Runs
from amptrail.solve.threads import share

EMF_KINDS = (laws.BATTERY, laws.ONEWAY)
LOADED_FLOOR_V = 0.1
EACH, PRODUCTS, SQUARES = range(3)
OHM_SHARE = 0.05  # one sigma of an ohmmeter reading over the tolerances, of the reading


@njit(cache=True, nogil=True, error_model="numpy")
def _motor(index: int, i: float, p: Array) -> Any:
    """How a running motor's current i >= 0 moves with its numbers, A per relative change: along the line from
    (knee, break) to (run volts, run current), knee = stall ohms x break, at share f of it."""
    stall, breaks, runs, volts = p[0], p[1], p[2], p[3]
    span = runs - breaks if runs > breaks else 1.0
    line = volts - stall * breaks if volts > stall * breaks else 1.0
    f = (i - breaks) / span
    bend = (runs - breaks) * (f - 1.0) / line * stall * breaks
    if index == 0:
        return bend
    if index == 1:
        return breaks * (1.0 - f) + bend
    return runs * f if index == 2 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _acts(kind: int, index: int, i: float, g: float, p: Array) -> Any:
    """What a relative change of a branch's p[index] does there, A: a resistance acts as its current (its
    share of it where more is in series), an emf as -g emf, a current's size as -current; a number the
    branch does not use now as nothing."""
    if kind in (laws.BATTERY, laws.ONEWAY) and index == 0:
        return -g * p[index]
    if kind == laws.MOTOR:
        if abs(i) > p[1]:
            own = _motor(index, abs(i), p)
            return -own if i > 0.0 else own
        return i * g * p[0] if index == 0 else 0.0
    if kind == laws.LAMP:
        return -i if index == 1 else 0.0
    if kind == laws.SAT:
        if g == 0.0:
            return -i if index == 1 else 0.0
        return i * g * p[0] if index == 0 else 0.0
    resists = (
        (kind == laws.RES and index == 0)
        or (kind == laws.BATTERY and index == (1 if i > 0.0 else 2))
        or (kind == laws.ONEWAY and index == 1)
        or (kind == laws.DIODE and index == 2)
    )
    return i * g * p[index] if resists else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def tolerance_lanes(
    net: Static, lanes: Lane, phases: Array, runs: Out, slots: Array, ends: Array, clamps: Array,
    fixed: Array, burdened: Array, reading: Array, places: Array, sigma: Array, parameters: int, want: int,
    out: Array, first: int, last: int,
) -> None:  # fmt: skip
    """One sigma of every parameter as a change of each tap's reading (V or A), the taps multiplied together.

    `want` EACH: out[lane, m, parameter]; PRODUCTS: out[lane, m, m]; SQUARES: out[lane, m, 0]. Per tap m:
    slots (index into phases), ends (nodes), clamps (branch, -1 none), fixed (the supply was read: its emf
    does not count), burdened (it moves in proportion to the open reading), reading[lane, m]. places[k] =
    branch, number in its p, parameter, whether an emf; sigma[k] relative."""
    count = ends.shape[0]
    s, y = np.zeros(net.nodes), np.zeros(net.nodes)
    row = np.zeros((count, parameters))
    act = np.zeros(places.shape[0])
    lane = held(lane_of(lanes, first))
    mine = other = home(net, lane)
    made_for = np.full((2, lane.na.size), -1, np.int32)
    for n in range(first, last):
        fetch(lanes, n, lane)
        lane.kind[lane.kind.size - 1] = laws.NONE
        w, other = ready(net, lane, mine, other, made_for[0], made_for[1])
        row[:] = 0.0
        for slot in range(phases.size):
            wanted = False
            for m in range(count):
                wanted |= slots[m] == slot
            if not wanted:
                continue
            load(net, lane, w, runs, n, slot)
            pulsed, since = pulses(net, lane, w), 0.0
            while since < 1.0:  # one share of the period, the whole of it where nothing is pulsed
                till = edge_after(net, lane, w, since) if pulsed else 1.0
                if pulsed:
                    w.since[0] = since
                    steady(net, lane, w, phases[slot])
                tangent(net, lane, w, phases[slot])
                for k in range(places.shape[0]):
                    b = places[k, 0]
                    act[k] = 0.0
                    if w.bg[b] >= 0.0:
                        act[k] = sigma[k] * _acts(lane.kind[b], places[k, 1], w.i[b], w.bg[b], lane.p[b])
                for m in range(count):
                    if slots[m] != slot:
                        continue
                    a, z, c = ends[m, 0], ends[m, 1], clamps[m]
                    unit_volts(w.plan, w, a, z, net.ground, s, y)
                    scale = max(w.bg[c], 0.0) if c >= 0 else 1.0
                    bare = w.v[a] - w.v[z]
                    if burdened[m] and not pulsed and abs(bare) > LOADED_FLOOR_V:
                        scale = min(max(reading[n, m] / bare, -2.0), 2.0)
                    for k in range(places.shape[0]):
                        if act[k] == 0.0 or (fixed[m] and places[k, 3]):
                            continue
                        b = places[k, 0]
                        moved = (y[lane.na[b]] - y[lane.nb[b]]) * act[k] * scale
                        row[m, places[k, 2]] += (till - since) * (moved - (act[k] if b == c else 0.0))
                since = till
            w.since[0] = 0.0
        for i in range(count):
            if want == EACH:
                out[n, i] = row[i]
            for j in range(i if want == SQUARES else 0, i + 1 if want != EACH else 0):
                total = 0.0
                for p in range(parameters):
                    total += row[i, p] * row[j, p]
                if want == SQUARES:
                    out[n, i, 0] = total
                else:
                    out[n, i, j] = out[n, j, i] = total


@dataclass(frozen=True, eq=False)
class _Places:
    """Every place a parameter acts: (branch, number in its p, parameter number, is an emf), sigma."""

    at: np.ndarray
    sigma: np.ndarray


def _places(network: Network) -> _Places:
    rows, sigmas = [], []
    for k, p in enumerate(network.parameters):
        for array, index in p.places:
            if array == "p" and p.sigma > 0.0:
                emf = network.base.kind[index[0]] in EMF_KINDS and index[1] == 0
                rows.append((index[0], index[1], k, int(emf)))
                sigmas.append(p.sigma)
    return _Places(np.array(rows, np.int64).reshape(-1, 4), np.array(sigmas, np.float64))


def _taps(network: Network, taps: Sequence[Tap]) -> tuple[np.ndarray, np.ndarray]:
    """End nodes of each tap, and the clamped branch (-1: not a clamp)."""
    ends, clamps = [], []
    for tap in taps:
        if tap.instrument == "clamp":
            b = network.branch(tap.a)
            ends.append((int(network.base.na[b]), int(network.base.nb[b])))
            clamps.append(b)
        else:
            ends.append(tap_nodes(network, tap))
            clamps.append(-1)
    return np.array(ends, np.int64).reshape(-1, 2), np.array(clamps, np.int64)


def _products(
    network: Network,
    runs: Runs,
    got: Readings,
    asked: Sequence[tuple[int, int]],
    fixed: Sequence[bool],
    want: int,
) -> Floats:
    """`_multiplied` for asked[m] = (phase slot, tap)."""
    reading = np.zeros((runs.status.shape[0], len(asked)))
    for m, (s, t) in enumerate(asked):
        reading[:, m] = got.value[:, s, t]
    return _multiplied(network, runs, [(got.taps[t], s) for s, t in asked], reading, fixed, want)


def _multiplied(
    network: Network,
    runs: Runs,
    asked: Sequence[tuple[Tap, int]],
    reading: Floats,
    fixed: Sequence[bool],
    want: int,
) -> Floats:
    """`tolerance_lanes` for asked[m] = (tap, phase slot), which read reading[lane, m]."""
    lanes, count = runs.status.shape[0], len(asked)
    ends, clamps = _taps(network, [t for t, _ in asked])
    slots = np.array([s for _, s in asked], np.int64)
    open_kinds = ("meter", "fuse-drop", "clamp")
    burdened = np.array([t.instrument not in open_kinds for t, _ in asked], np.uint8)
    places = _places(network)
    parameters = len(network.parameters)
    out = np.zeros((lanes, count, (parameters, count, 1)[want]))
    phases, held = np.array(runs.phases, np.int64), np.array(fixed, np.uint8)

    net, every, kept = hold(network.static), hold(runs.lanes), hold(runs.snapshot)

    def piece(first: int, last: int) -> None:
        tolerance_lanes(
            net, every, phases, kept, slots, ends, clamps, held, burdened, reading,
            places.at, places.sigma, parameters, want, out, first, last,
        )  # fmt: skip

    share(lanes, piece)
    return out


def each(
    network: Network,
    runs: Runs,
    asked: Sequence[tuple[Tap, int]],
    reading: Floats,
    fixed: Sequence[bool],
) -> Floats:
    """[lane, m, parameter]: one sigma of each parameter as a change (V or A) of asked[m] = (tap, phase slot),
    which reads reading[lane, m]; `fixed[m]`: without the supply's own tolerance. No ohmmeter."""
    return _multiplied(network, runs, asked, reading, fixed, EACH)


def ohm_sigma(value: Floats) -> Floats:
    """One sigma over the tolerances of an ohmmeter's reading, ohm."""
    return OHM_SHARE * np.abs(value)


def effects(
    network: Network, runs: Runs, got: Readings, slot: int, which: Sequence[int], fixed: bool
) -> Floats:
    """[lane, tap of `which`, parameter]: one sigma of each parameter as a change of the reading (V or A)."""
    return _products(network, runs, got, [(slot, t) for t in which], [fixed] * len(which), EACH)


def spread(network: Network, runs: Runs, got: Readings) -> Floats:
    """One sigma of every reading over the tolerances [lane, phase, tap]; ohmmeter: 5 % of the value."""
    out = np.zeros(got.value.shape)
    asked = [
        (s, t)
        for s in range(got.value.shape[1])
        for t, tap in enumerate(got.taps)
        if tap.instrument != "ohmmeter"
    ]
    if asked:
        variance = _products(network, runs, got, asked, [False] * len(asked), SQUARES)
        for m, (s, t) in enumerate(asked):
            out[:, s, t] = np.sqrt(variance[:, m, 0])
    for t, tap in enumerate(got.taps):
        if tap.instrument == "ohmmeter":
            out[:, :, t] = ohm_sigma(got.value[:, :, t])
    return out


def covariance(
    network: Network, runs: Runs, got: Readings, slots: Sequence[int], fixed: Sequence[bool]
) -> Floats:
    """[lane, m, m] of tap m in phase slot slots[m]; `fixed[m]`: the supply was read at that moment, so its
    own tolerance is left out. Tolerances shared by readings stay shared."""
    count = len(slots)
    live = [t for t in range(count) if got.taps[t].instrument != "ohmmeter"]
    out = np.zeros((got.value.shape[0], count, count))
    if live:
        asked = [(slots[t], t) for t in live]
        out[np.ix_(range(len(out)), live, live)] = _products(
            network, runs, got, asked, [fixed[t] for t in live], PRODUCTS
        )
    for t, tap in enumerate(got.taps[:count]):
        if tap.instrument == "ohmmeter":
            out[:, t, t] = (OHM_SHARE * got.value[:, slots[t], t]) ** 2
    return out
