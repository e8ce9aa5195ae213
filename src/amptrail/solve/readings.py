"""read(): instruments connected at the end of a phase, everything settled again with time stopped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from amptrail.circuit.model import Term
from amptrail.solve import laws
from amptrail.solve.held import hold
from amptrail.solve.kernel import ohm_lanes
from amptrail.solve.network import Network
from amptrail.solve.probing import EXACT_V, read_lanes
from amptrail.solve.runs import Floats, Runs, names_of
from amptrail.solve.settle import CHATTER, NOT_CONVERGED
from amptrail.solve.threads import share

METER_OHM = 10e6
LOADED_OHM = 3.0
OHM_VOLTS, OHM_INNER, OVER_RANGE_OHM = 0.4, 1000.0, 20e6
LED_TESTER = (
    0.01 / math.exp(2.0 / (2.0 * laws.THERMAL_V)),
    2.0,
    1000.0,
)  # 2 V at 10 mA, 1 kohm
Instrument = Literal["meter", "lamp", "led", "loaded", "clamp", "ohmmeter", "fuse-drop"]


@dataclass(frozen=True, slots=True)
class Tap:
    """An instrument from a to b (points by Term or node number; b defaults to BAT.-). Clamp: `a` is a branch.
    `parameters`: lamp (rated V, rated W); loaded and meter (ohm,); led (saturation A, n, ohm)."""

    a: Term | str | int
    b: Term | int | None = None
    instrument: Instrument = "meter"
    parameters: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Readings:
    """value/low/high [lane, phase, tap] in V, A or ohm (0 where `over`: the ohmmeter is over range)."""

    runs: Runs
    taps: tuple[Tap, ...]
    value: Floats
    low: Floats
    high: Floats
    status: npt.NDArray[np.int8]
    over: npt.NDArray[np.bool_]
    changed: npt.NDArray[np.uint8]  # [lane, phase, tap, state item]

    def disturbs(self, lane: int, phase: int, tap: int) -> tuple[str, ...]:
        """State items the instrument changed (empty when nothing settles anyway)."""
        return names_of(self.runs.network, self.changed[lane, phase, tap])

    def flags(self, lane: int, phase: int, tap: int) -> tuple[str, ...]:
        """Of: disturbs, alternates, over_range, not_converged."""
        status = self.status[lane, phase, tap]
        told = (
            ("disturbs", bool(self.disturbs(lane, phase, tap))),
            ("alternates", status == CHATTER),
            ("over_range", bool(self.over[lane, phase, tap])),
            ("not_converged", status == NOT_CONVERGED),
        )
        return tuple(name for name, on in told if on)


def instrument_branch(tap: Tap) -> tuple[int, tuple[float, ...]]:
    """The instrument as (branch kind, its four parameters)."""
    if tap.instrument == "lamp":
        return laws.LAMP, tap.parameters or (12.0, 5.0)
    if tap.instrument == "led":
        return laws.DIODE, tap.parameters or LED_TESTER
    default = LOADED_OHM if tap.instrument == "loaded" else METER_OHM
    return laws.RES, tap.parameters or (default,)


def tap_nodes(net: Network, tap: Tap) -> tuple[int, int]:
    a = (
        tap.a
        if not isinstance(tap.a, str)
        else Term(*tap.a.split(".", 1))
        if "." in tap.a
        else Term("", tap.a)
    )
    return net.node(a), net.static.ground if tap.b is None else net.node(tap.b)


def read(
    network: Network,
    runs: Runs,
    taps: Sequence[Tap],
    asked: npt.NDArray[np.bool_] | None = None,
    every_solve: bool = False,
) -> Readings:
    """Every tap on every lane and phase of `runs`, or only where asked[phase, tap] (zeros elsewhere).
    Where it is proved that the instrument switches nothing and moves no law off its tangent, the circuit is
    not solved again (`probing`), unless `every_solve`."""
    lanes, phases = runs.status.shape
    got = _empty(runs, tuple(taps), (lanes, phases, len(taps)))
    ohms = [m for m, t in enumerate(taps) if t.instrument == "ohmmeter"]
    clamps = [m for m, t in enumerate(taps) if t.instrument == "clamp"]
    volts = [m for m in range(len(taps)) if m not in ohms and m not in clamps]
    wanted = np.ones((phases, len(taps)), np.bool_) if asked is None else asked
    for m in clamps:
        _clamp(got, network.branch(taps[m].a), m, wanted[:, m])
    if volts:
        _volts(got, volts, wanted, 0.0 if every_solve else EXACT_V)
    if ohms:
        _ohms(got, ohms)
    return got


def _empty(runs: Runs, taps: tuple[Tap, ...], shape: tuple[int, int, int]) -> Readings:
    value, low, high = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    status, over = np.zeros(shape, np.int8), np.zeros(shape, np.bool_)
    changed = np.zeros((*shape, runs.snapshot.state.shape[2]), np.uint8)
    return Readings(runs, taps, value, low, high, status, over, changed)


def _clamp(got: Readings, branch: int, m: int, asked: npt.NDArray[np.bool_]) -> None:
    runs = got.runs
    amps, status = runs.snapshot.amps[:, asked, branch], runs.status[:, asked]
    at = runs.network.static.nodes + branch
    buzz = status == CHATTER
    got.value[:, asked, m], got.status[:, asked, m] = amps, status
    got.low[:, asked, m] = np.where(buzz, runs.chatter_low[:, asked, at], amps)
    got.high[:, asked, m] = np.where(buzz, runs.chatter_high[:, asked, at], amps)


def _volts(got: Readings, which: list[int], asked: npt.NDArray[np.bool_], most: float) -> None:
    """The taps `which`. Points of the same metal read alike: each pair of nodes is read once."""
    runs, net = got.runs, got.runs.network
    lanes = runs.status.shape[0]
    number: dict[tuple[int, int, int, tuple[float, ...]], int] = {}
    mine = np.zeros(len(which), np.intp)  # the distinct tap that answers each
    for n, m in enumerate(which):
        kind, numbers = instrument_branch(got.taps[m])
        mine[n] = number.setdefault((*tap_nodes(net, got.taps[m]), kind, numbers), len(number))
    count = len(number)
    nodes, kinds, p = np.zeros((count, 2), np.int64), np.zeros(count, np.int64), np.zeros((count, 4))
    for (a, b, kind, numbers), m in number.items():
        nodes[m], kinds[m] = (a, b), kind
        p[m, : len(numbers)] = numbers
    wanted = np.zeros((len(asked), count), np.uint8)
    for n, m in enumerate(which):
        wanted[:, mine[n]] |= asked[:, m]
    alone = count == len(got.taps)
    into = got if alone else _empty(runs, (), (lanes, len(asked), count))
    phases = np.array(runs.phases, np.int64)
    static, every, kept = hold(net.static), hold(runs.lanes), hold(runs.snapshot)

    def piece(first: int, last: int) -> None:
        read_lanes(
            static, every, phases, kept, nodes, kinds, p, wanted, into.value, into.low,
            into.high, into.status, into.changed, most, first, last,
        )  # fmt: skip

    share(lanes, piece)
    if alone:
        return
    for name in ("value", "low", "high", "status", "changed"):
        whole, part = getattr(got, name), getattr(into, name)
        for n, m in enumerate(which):
            on = asked[:, m]
            whole[:, on, m] = part[:, on, mine[n]]


def _ohms(got: Readings, which: list[int]) -> None:
    runs, net = got.runs, got.runs.network
    at = net.static.at
    nodes = np.array([tap_nodes(net, got.taps[m]) for m in which], np.int64).reshape(-1, 2)
    across = np.zeros((runs.status.shape[0], len(which)))
    ok = np.zeros(across.shape, np.bool_)
    fuses = np.ascontiguousarray(runs.snapshot.state[:, -1, at[5] : at[6]])

    static, every = hold(net.static), hold(runs.lanes)

    def piece(first: int, last: int) -> None:
        ohm_lanes(static, every, fuses, nodes, OHM_VOLTS, OHM_INNER, across, ok, first, last)

    share(len(fuses), piece)
    amps = (OHM_VOLTS - across) / OHM_INNER
    over = across >= amps * OVER_RANGE_OHM
    ohm = np.where(over, 0.0, across / np.where(over, 1.0, amps))
    for n, m in enumerate(which):
        got.value[:, :, m] = got.low[:, :, m] = got.high[:, :, m] = ohm[:, None, n]
        got.over[:, :, m] = over[:, None, n]
        got.status[:, :, m] = np.where(ok[:, n], 0, NOT_CONVERGED)[:, None]


__all__ = ["Instrument", "Readings", "Tap", "read"]
