"""The figures of the benchmark table, one function a group of rows."""

from __future__ import annotations

import os
import resource
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import numpy as np

from amptrail.exchange.deck import LOOSE, TIGHT
from amptrail.faults import catalogue, changes
from amptrail.solve import CHATTER, Change, Kind, Network, Tap, assemble, read, run
from amptrail.solve.changes import stack
from benchmarks import peers
from benchmarks import points as frozen_points
from benchmarks.generator import generate, points

SEED = 0
RUN_AT_ONCE = 256  # lanes lived through at once: their phase ends take memory
READINGS_AT_ONCE = 100_000  # what a reading tells takes memory, and time that the budget must see
RUN_BUDGET_S = 20.0  # beyond it only a share of the lanes is run, and the row says how many
READING_BUDGET_S = 20.0  # the same for reading them
WIRES = {30: 16, 60: 16, 500: 3, 2000: 1}  # wires worsened in each phase for the comparison
METERED = {30: 30, 60: 30, 500: 3, 2000: 2}
Figure = tuple[str, str, float]


@dataclass
class Row:
    """One line of the table: a figure for every size."""

    what: str
    unit: str
    values: dict[int, float] = field(default_factory=dict)


def timed(work: Callable[[], object], repeats: int, clock: Callable[[], float] = time.perf_counter) -> float:
    """Median seconds after one warm-up."""
    work()
    took = []
    for _ in range(repeats):
        start = clock()
        work()
        took.append(clock() - start)
    return median(took)


def fault_lanes(net: Network) -> list[tuple[Change, ...]]:
    """Every cause of the catalogue as one lane, resistances nobody stated at their ordinary value."""
    causes = [c for c in catalogue(net.circuit) if c.faults]
    return [tuple(x for f in c.faults for x in changes(net, f)) for c in causes]


def healthy(net: Network, repeats: int) -> Iterator[Figure]:
    """One lane."""
    took = timed(lambda: run(net, [()]), 5 * repeats)
    counts = run(net, [()]).counters
    yield "nodes", "", float(net.static.nodes)
    yield "healthy, one lane, whole drive cycle twice", "ms", 1e3 * took
    yield "  a settled operating point", "ms", 1e3 * took / (1 + 2 * len(net.phases))
    yield "  solves, Newton steps a solve", "", counts["sweeps"] / counts["solves"]


def all_faults(net: Network, repeats: int) -> Iterator[Figure]:
    """Every single fault, then the meter at every point in every phase."""
    lanes = fault_lanes(net)
    taps = [Tap(t) for t in points(net.circuit)]
    yield "single faults", "", float(len(lanes))
    mixed = [lanes[i] for i in np.random.default_rng(SEED).permutation(len(lanes))]
    one, share, _ = lived(net, mixed, 1, repeats)
    two, _, counts = lived(net, mixed, None, repeats)
    yield "all faults, drive cycles", "ms", 1e3 * two
    yield "  share of them run, the time scaled", "%", 100.0 * share
    yield "  a fault", "ms", 1e3 * two / len(lanes)
    yield "  on one thread", "ms", 1e3 * one
    yield "  one thread / all threads", "x", one / two
    yield "  sweeps a solve", "", counts["sweeps"] / counts["solves"]
    yield "  cold restarts", "", float(counts["cold"])
    yield "  line searches", "", float(counts["searched"])
    yield "  solves without an answer", "", float(counts["not_converged"])
    yield "  of them by currents that do not add up", "", float(counts["unbalanced"])
    yield "points", "", float(len(taps))
    yield from everywhere(net, mixed, taps, "meter everywhere")
    burdened = [Tap(t.a, None, kind) for t in taps for kind in ("lamp", "loaded")]
    yield from everywhere(net, mixed, burdened, "lamp and loaded lead everywhere")


def lived(
    net: Network, lanes: list[tuple[Change, ...]], threads: int | None, repeats: int
) -> tuple[float, float, dict[str, int]]:
    """(seconds for all lanes, share of them run, counters): whole drive cycles, some hundred at once."""
    with alone() if threads == 1 else nullcontext():
        run(net, lanes[:2])
        spent: list[float] = []
        done = 0
        for _ in range(repeats):
            start, done = time.perf_counter(), 0
            counts: Counter[str] = Counter()
            for k in range(0, len(lanes), RUN_AT_ONCE):
                some = lanes[k : k + RUN_AT_ONCE]
                counts.update(run(net, some).counters)
                done += len(some)
                if time.perf_counter() - start > RUN_BUDGET_S:
                    break
            spent.append((time.perf_counter() - start) * len(lanes) / done)
            if done < len(lanes):
                break
    return median(spent), done / len(lanes), counts


def everywhere(net: Network, lanes: list[tuple[Change, ...]], taps: list[Tap], what: str) -> Iterator[Figure]:
    """Every tap on every lane in every phase, or on as many lanes as the budget allows."""
    read(net, run(net, lanes[:2]), taps)
    each = max(READINGS_AT_ONCE // (len(net.phases) * len(taps)), 1)
    spent, done = 0.0, 0
    for k in range(0, len(lanes), each):
        chunk = lanes[k : k + each]
        runs = run(net, chunk)
        start = time.perf_counter()
        read(net, runs, taps)
        spent += time.perf_counter() - start
        done += len(chunk)
        if spent > READING_BUDGET_S:
            break
    number = done * len(net.phases) * len(taps)
    yield f"{what}, readings taken", "", float(number)
    yield "  share of all faults read", "%", 100.0 * done / len(lanes)
    yield "  a reading", "us", 1e6 * spent / number
    yield "  all faults x phases x points", "s", spent * len(lanes) / done


def worsened(net: Network, wires: int) -> frozen_points.Points:
    """A wire 1 ohm worse in the healthy state of every phase that settles."""
    runs = run(net, [()])
    names = [p.name for p in net.circuit.parts if p.kind == "wire"]
    some = names[:: max(1, len(names) // wires)][:wires]
    phases = [k for k in range(len(net.phases)) if runs.status[0, k] < CHATTER]
    work = [(k, net.branch(w)) for k in phases for w in some]
    lanes = stack(net, [(Change(Kind.SERIES, b, value=1.0),) for _, b in work])
    state = np.array([runs.snapshot.state[0, k] for k, _ in work])
    phase = np.array([k for k, _ in work], np.int64)
    return frozen_points.Points(net, lanes, phase, state, tuple(b for _, b in work), 1.0)


def against(net: Network, size: int, repeats: int, folder: Path) -> Iterator[Figure]:
    """Frozen operating points in both programs."""
    work = worsened(net, WIRES.get(size, 3))
    n, decks = len(work), len(np.unique(work.phase))
    start = median(frozen_points.start_up(folder) for _ in range(2 * repeats + 1))
    fresh = timed(lambda: frozen_points.ours(work), 3 * repeats, time.process_time) / n
    ours = timed(lambda: frozen_points.ours_altered(work), 3 * repeats, time.process_time) / n
    _, theirs = frozen_points.altered(work, folder, TIGHT, True)
    rounds = 1 if size > 100 else repeats
    tight = (
        median(frozen_points.altered(work, folder, TIGHT, False)[0] for _ in range(rounds)) - decks * start
    ) / n
    loose = (
        median(frozen_points.altered(work, folder, LOOSE, False)[0] for _ in range(rounds)) - decks * start
    ) / n
    again = (median(frozen_points.reloaded(work, folder, TIGHT) for _ in range(rounds)) - start) / n
    if theirs is None:
        raise AssertionError("asked to be shown")
    both = (frozen_points.ours(work), frozen_points.ours_altered(work))
    apart = max(float(np.abs(mine - theirs).max()) for mine in both)
    yield "frozen points compared with ngspice", "", float(n)
    yield "  farthest apart, any node", "uV", 1e6 * apart
    yield "  ours altered, from the point before, a point", "us", 1e6 * ours
    yield "  ours from nothing, a point", "us", 1e6 * fresh
    yield "  ngspice, start-up of the process", "ms", 1e3 * start
    yield "  ngspice altered, a point", "us", 1e6 * tight
    yield "  ngspice altered, as given", "us", 1e6 * loose
    yield "  ngspice reloaded, a point", "us", 1e6 * again
    yield "  ngspice altered / ours", "x", tight / ours
    yield "  ngspice altered as given / ours", "x", loose / ours
    yield "  ngspice reloaded / ours", "x", again / fresh
    yield "  ngspice batch, a process a point", "us", 1e6 * (start + again)
    yield "  ngspice batch / ours", "x", (start + again) / fresh
    for name, peer in (("scipy sparse LU", peers.sparse), ("numpy dense batch", peers.dense)):
        volts = peer(work)
        spent = timed(lambda p=peer: p(work), rounds, time.process_time) / n  # type: ignore[misc]
        yield f"{name}, a point", "us", 1e6 * spent
        yield "  farthest apart, any node", "uV", 1e6 * float(np.abs(both[0] - volts).max())
        yield f"  {name} / ours from nothing", "x", spent / fresh


def meters(net: Network, size: int, repeats: int, folder: Path) -> Iterator[Figure]:
    """The meter at one point after another, the last phase that settles."""
    runs = run(net, [()])
    slot = max(k for k in range(len(net.phases)) if runs.status[0, k] < CHATTER)
    last = run(net, [()], phases=[net.phases[slot].name])
    where = points(net.circuit)
    some = list(dict.fromkeys(net.node(t) for t in where[:: max(1, len(where) // METERED.get(size, 3))]))
    nodes = [n for n in some if n != net.static.ground]
    taps = [Tap(n) for n in nodes]
    ours = timed(lambda: read(net, last, taps), 3 * repeats, time.process_time) / len(nodes)
    lane, state = net.base, last.snapshot.state[0, 0]
    start = median(frozen_points.start_up(folder) for _ in range(2 * repeats + 1))
    rounds = 1 if size > 100 else repeats

    def theirs(show: bool) -> tuple[float, np.ndarray | None]:
        return frozen_points.metered(net, lane, state, slot, nodes, folder, TIGHT, show)

    volts = theirs(True)[1]
    spice = (median(theirs(False)[0] for _ in range(rounds)) - start) / len(nodes)
    got = read(net, last, taps).value[0, 0]
    yield "meter, frozen, readings compared", "", float(len(nodes))
    yield "  farthest apart", "uV", 1e6 * float(np.abs(got - volts).max())
    yield "  ours, a reading", "us", 1e6 * ours
    yield "  ngspice altered, a reading", "us", 1e6 * spice
    yield "  ngspice / ours", "x", spice / ours


@contextmanager
def alone() -> Iterator[None]:
    """One thread only, as the peers have."""
    before = os.environ.get("AMPTRAIL_THREADS")
    os.environ["AMPTRAIL_THREADS"] = "1"
    try:
        yield
    finally:
        del os.environ["AMPTRAIL_THREADS"]
        if before is not None:
            os.environ["AMPTRAIL_THREADS"] = before


def gather(sizes: Sequence[int], repeats: int, folder: Path) -> Iterator[list[Row]]:
    """All rows, in order, each time with one size more."""
    rows: dict[str, Row] = {}
    for size in sizes:
        seen: Counter[str] = Counter()
        net = assemble(generate(size, SEED))
        figures = [*healthy(net, repeats), *all_faults(net, repeats)]
        with alone():
            for compare in (against, meters):
                try:
                    figures += compare(net, size, repeats, folder)
                except subprocess.TimeoutExpired as late:
                    what = f"{compare.__name__}: a peer not done in the time given"
                    figures.append((what, "s", float(late.timeout)))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        figures.append(("peak memory of this process so far", "MB", peak))
        for what, unit, value in figures:  # some words stand in several parts of the table
            seen[what] += 1
            rows.setdefault(f"{seen[what]} {what}", Row(what, unit)).values[size] = value
        yield list(rows.values())
