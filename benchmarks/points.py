"""Operating points of frozen states, by the kernel and by ngspice: the same work, the same answers."""

from __future__ import annotations

import re
import resource
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit

from amptrail.exchange.deck import deck
from amptrail.solve.held import held, hold, keep
from amptrail.solve.kernel import lane_of, workspace
from amptrail.solve.network import Network
from amptrail.solve.newton import solve
from amptrail.solve.records import Array, Lane, Static

SHOWN = re.compile(r"^v\(n(\d+)\) = (\S+)$", re.MULTILINE)
TIMEOUT_S = 300.0


@njit(cache=False, nogil=True)
def _solve_points(net: Static, lanes: Lane, phase: Array, state: Array, volts: Array, ok: Array) -> None:
    """Every point from nothing: its own elimination order, a cold start, no neighbour's answer."""
    for n in range(lanes.kind.shape[0]):
        lane = held(lane_of(lanes, n))
        w = held(workspace(net, lane))
        w.state[:] = state[n]
        ok[n] = solve(net, lane, w, phase[n])
        volts[n] = w.v
        keep(w)


@njit(cache=False, nogil=True)
def _alter_points(net: Static, lanes: Lane, phase: Array, state: Array, volts: Array, ok: Array) -> None:
    """One lane whose resistances are altered from point to point; the first of a phase is a cold start, the
    others go on from the point before, as a program with an `alter` command may."""
    lane = held(lane_of(lanes, 0))
    w = held(workspace(net, lane))
    for n in range(lanes.kind.shape[0]):
        lane.series[:] = lanes.series[n]
        lane.p[:] = lanes.p[n]
        w.state[:] = state[n]
        if n == 0 or phase[n] != phase[n - 1]:
            w.x[:] = 0.0
        ok[n] = solve(net, lane, w, phase[n])
        volts[n] = w.v


@dataclass(frozen=True, eq=False)
class Points:
    """Lanes frozen in a state each: what both programs solve. `raised` is the branch whose ohms grow."""

    net: Network
    lanes: Lane
    phase: np.ndarray
    state: np.ndarray
    raised: tuple[int, ...]
    ohm: float

    def __len__(self) -> int:
        return len(self.raised)

    def lane(self, n: int) -> Lane:
        return Lane(*(a[n] for a in self.lanes))


def ours(points: Points) -> np.ndarray:
    """[point, node] V, one thread, every point from nothing."""
    return _ours(points, _solve_points)


def ours_altered(points: Points) -> np.ndarray:
    """The same with one lane altered from point to point."""
    return _ours(points, _alter_points)


def _ours(points: Points, how: Any) -> np.ndarray:
    volts = np.zeros((len(points), points.net.static.nodes))
    ok = np.zeros(len(points), np.uint8)
    how(hold(points.net.static), hold(points.lanes), points.phase, points.state, volts, ok)
    if not ok.all():
        raise ArithmeticError(f"{int((~ok.astype(bool)).sum())} frozen points without an answer")
    return volts


def _spent_s() -> float:
    """Processor time of ended child processes: what other programs do at the same time does not count."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _ngspice(folder: Path, lines: Sequence[str]) -> tuple[float, str]:
    """(processor seconds of the whole process, what it said)."""
    main = folder / "main.cir"
    main.write_text("\n".join(lines) + "\n", encoding="utf-8")
    start = _spent_s()
    done = subprocess.run(
        ["ngspice", "-b", str(main)], capture_output=True, text=True, timeout=TIMEOUT_S, check=False
    )
    return _spent_s() - start, done.stdout


def _prints(net: Network) -> list[str]:
    return [f"print v(n{n})" for n in range(net.static.nodes) if n != net.static.ground]


def _control(commands: Sequence[str]) -> list[str]:
    return [".control", "set numdgt=16", *commands, "quit", ".endc", ".end"]


def _read(net: Network, said: str, count: int) -> np.ndarray:
    """[point, node] V as printed."""
    found = [(int(n), float(v)) for n, v in SHOWN.findall(said)]
    nodes = net.static.nodes - 1
    if len(found) != nodes * count:
        raise ArithmeticError(f"ngspice gave {len(found)} of {nodes * count} volts")
    out = np.zeros((count, net.static.nodes))
    for k, (n, v) in enumerate(found):
        out[k // nodes, n] = v
    return out


def altered(points: Points, folder: Path, options: str, show: bool) -> tuple[float, np.ndarray | None]:
    """One deck a phase loaded once, a resistance altered and put back around every `op`."""
    net, seconds, volts = points.net, 0.0, []
    for phase in np.unique(points.phase):
        here = np.flatnonzero(points.phase == phase)
        base = points.lane(int(here[0]))
        base = base._replace(series=net.base.series)
        commands: list[str] = []
        for n in here:
            b = points.raised[n]
            r = float(base.p[b, 0] + base.series[b])
            commands += [f"alter R{b} = {r + points.ohm!r}", "op", *(_prints(net) if show else ())]
            commands += [f"alter R{b} = {r!r}", "destroy all"]
        lines = deck(net, base, points.state[here[0]], int(phase), options)
        took, said = _ngspice(folder, [*lines, *_control(commands)])
        seconds += took
        if show:
            volts.append((here, _read(net, said, len(here))))
    if not show:
        return seconds, None
    out = np.zeros((len(points), net.static.nodes))
    for here, v in volts:
        out[here] = v
    return seconds, out


def reloaded(points: Points, folder: Path, options: str) -> float:
    """Every point as a deck of its own, all read by one process, one `op` each."""
    net = points.net
    commands: list[str] = []
    for n in range(len(points)):
        path = folder / f"p{n}.cir"
        lines = deck(net, points.lane(n), points.state[n], int(points.phase[n]), options)
        path.write_text("\n".join([*lines, ".end"]) + "\n", encoding="utf-8")
        commands += [f"source {path}", "op", "destroy all", "remcirc"]
    return _ngspice(folder, ["* reload", "R1 1 0 1", *_control(commands)])[0]


def start_up(folder: Path) -> float:
    """Seconds of a process with a deck of one resistor and nothing to do."""
    return _ngspice(folder, ["* nothing", "R1 1 0 1", *_control([])])[0]


def metered(
    net: Network, lane: Lane, state: np.ndarray, phase: int, nodes: Sequence[int], folder: Path, options: str,
    show: bool,
) -> tuple[float, np.ndarray | None]:  # fmt: skip
    """A 10 Mohm meter to the reference at one node after another, one loaded deck."""
    lines = deck(net, lane, state, phase, options)
    lines[-1:-1] = [f"RM{n} n{n} 0 1e18" for n in nodes]
    commands: list[str] = []
    for n in nodes:
        commands += [f"alter RM{n} = 1e7", "op", *([f"print v(n{n})"] if show else ())]
        commands += [f"alter RM{n} = 1e18", "destroy all"]
    seconds, said = _ngspice(folder, [*lines, *_control(commands)])
    if not show:
        return seconds, None
    return seconds, np.array([float(v) for _, v in SHOWN.findall(said)])
