"""Every node of the kernel's frozen phases beside ngspice: how many agree, in which class, and what misses.

    python -m benchmarks.spice_misses [--faults N] [SHEET | SIZE/SEED ...]

The circuit is frozen in the state the kernel settled in; ngspice solves that deck
(`amptrail.exchange.deck`). Its own current residual is what its volts leave over at a node by the laws. Where
that is below 1 uA volts must agree within 1 uV or 1e-6, elsewhere within 1 mV (DESIGN, figures to reach). A
node that only its gigaohm holds takes 80 uV from 1e-11 A: where the two are farther apart than allowed, 40
digits decide (`benchmarks.arbiter`). If ours are right the phase is counted as decided; else its nodes are
misses.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import numpy as np

from amptrail.circuit.model import Circuit, Fault
from amptrail.errors import ModelError
from amptrail.exchange import spice
from amptrail.exchange.deck import LOOSE, ROBUST, TIGHT, frozen_netlist
from amptrail.faults import catalogue, changes
from amptrail.sheet import parse
from amptrail.solve import CHATTER, NOT_CONVERGED, assemble, run
from amptrail.solve.network import Network
from amptrail.solve.records import Lane
from amptrail.solve.residual import residual
from benchmarks.arbiter import settle_the_matter
from benchmarks.generator import generate

DEMOS = Path(__file__).parent.parent / "demos"
SMALL_A = 1e-6
NEAR_V, NEAR, FAR_V = 1e-6, 1e-6, 1e-3
EXACT_V = 1e-8  # ours from 40 digits
Case = tuple[str, tuple[Fault, ...]]


@dataclass(frozen=True, slots=True)
class Miss:
    """One node that is farther apart than allowed."""

    where: str
    node: str
    ours_v: float
    ngspice_v: float
    residual_a: float


@dataclass
class Tally:
    """Nodes by class; phases without a steady state; phases where ngspice finds nothing."""

    phases: int = 0
    strict: int = 0  # ngspice's residual below 1 uA
    coarse: int = 0
    farthest_strict_v: float = 0.0
    farthest_coarse_v: float = 0.0
    decided: int = 0  # phases in which 40 digits say that ngspice is the one that is off
    unsteady: int = 0
    silent: list[str] = field(default_factory=list)
    misses: list[Miss] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """The sum, in place."""
        self.phases += other.phases
        self.strict += other.strict
        self.coarse += other.coarse
        self.farthest_strict_v = max(self.farthest_strict_v, other.farthest_strict_v)
        self.farthest_coarse_v = max(self.farthest_coarse_v, other.farthest_coarse_v)
        self.decided += other.decided
        self.unsteady += other.unsteady
        self.silent += other.silent
        self.misses += other.misses

    def line(self) -> str:
        """One line of figures."""
        strict, coarse = 1e6 * self.farthest_strict_v, 1e6 * self.farthest_coarse_v
        return (
            f"{self.phases} phases; {self.strict} nodes where ngspice leaves < 1 uA (farthest {strict:.3g} "
            f"uV), {self.coarse} others (farthest {coarse:.3g} uV), {self.decided} phases decided by 40 "
            f"digits, {self.unsteady} never at rest, {len(self.silent)} without an answer of ngspice, "
            f"{len(self.misses)} missed"
        )


def solved(net: Network, lane: Lane, state: np.ndarray, phase: int, near: np.ndarray) -> dict[int, float]:
    """ngspice's volts by node number: from nothing first, then helped by ours, then by its own tolerances."""
    for options, guess in ((TIGHT, None), (TIGHT, near), (LOOSE, None), (LOOSE, near), (ROBUST, near)):
        try:
            return spice.volts(frozen_netlist(net, lane, state, phase, options, guess))
        except ModelError:
            continue
    return {}


def _phase(net: Network, lane: Lane, state: np.ndarray, volts: np.ndarray, phase: int, where: str) -> Tally:
    tally = Tally(phases=1)
    got = solved(net, lane, state, phase, volts)
    if not got:
        tally.silent.append(where)
        return tally
    theirs = np.zeros(net.static.nodes)
    for n, v in got.items():
        theirs[n] = v
    left = float(np.abs(residual(net, lane, state, phase, theirs)).max())
    misses = []
    for n, v in got.items():
        apart = abs(v - float(volts[n]))
        if left < SMALL_A:
            tally.strict += 1
            tally.farthest_strict_v = max(tally.farthest_strict_v, apart)
            allowed = max(NEAR_V, NEAR * abs(v))
        else:
            tally.coarse += 1
            tally.farthest_coarse_v = max(tally.farthest_coarse_v, apart)
            allowed = FAR_V
        if apart > allowed:
            misses.append(Miss(where, net.node_name(n), float(volts[n]), v, left))
    if misses and ours_is_right(net, lane, state, phase, volts):
        tally.decided += 1
        misses = []
    tally.misses += misses
    return tally


def ours_is_right(net: Network, lane: Lane, state: np.ndarray, phase: int, volts: np.ndarray) -> bool:
    """Whether these volts are within 10 nV of 40 digits at every node."""
    exact = settle_the_matter(net, lane, state, phase, volts)
    return max(abs(float(v - float(volts[n]))) for n, v in enumerate(exact)) < EXACT_V


def compare(circuit: Circuit, cases: Sequence[Case], slots: Iterable[int] | None = None) -> Tally:
    """All phases (or those of `slots`) of the healthy circuit's or a fault's last drive cycle."""
    net = assemble(circuit)
    runs = run(net, [tuple(c for f in several for c in changes(net, f)) for _, several in cases])
    total = Tally()
    for n, (name, _) in enumerate(cases):
        lane = Lane(*(a[n] for a in runs.lanes))
        for k in range(len(net.phases)) if slots is None else slots:
            where = f"{circuit.name} {name} {net.phases[k].name}"
            if runs.status[n, k] >= CHATTER:
                total.unsteady += 1
                if runs.status[n, k] == NOT_CONVERGED:
                    total.silent.append(f"{where}: no answer of ours")
                continue
            total.add(_phase(net, lane, runs.snapshot.state[n, k], runs.volts[n, k], k, where))
    return total


def sample(circuit: Circuit, many: int) -> list[Case]:
    """The healthy circuit and `many` faults of the catalogue, always the same ones."""
    causes = [c for c in catalogue(circuit) if c.faults]
    chosen = Random(circuit.name).sample(causes, min(many, len(causes)))
    return [("healthy", ()), *((c.id, c.faults) for c in chosen)]


def named(what: str) -> Circuit:
    """A sheet by its path, or a generated vehicle as SIZE/SEED."""
    size, slash, seed = what.partition("/")
    if slash and size.isdigit() and seed.isdigit():
        return generate(int(size), int(seed))
    return parse(Path(what).read_text(encoding="utf-8"), Path(what).stem)


def _everything() -> Iterator[str]:
    yield from (str(p) for p in sorted(DEMOS.rglob("*.sheet")))
    yield from (f"{size}/{seed}" for size in (30, 60) for seed in range(6))
    yield "500/0"


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line a circuit, the total and every miss; 1 when there is one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("circuits", nargs="*")
    parser.add_argument("--faults", type=int, default=40)
    o = parser.parse_args(arguments)
    total = Tally()
    for what in o.circuits or _everything():
        circuit = named(what)
        many = o.faults if len(circuit.parts) < 200 else o.faults // 10
        got = compare(circuit, sample(circuit, many))
        print(f"{what}: {got.line()}", flush=True)
        total.add(got)
    print(f"all: {total.line()}")
    for m in total.misses[:40]:
        print(f"  {m.where} {m.node}: {m.ours_v!r} V, ngspice {m.ngspice_v!r} V, leaves {m.residual_a:.2g} A")
    for text in total.silent:
        print(f"  without an answer: {text}")
    return 1 if total.misses else 0


if __name__ == "__main__":
    sys.exit(main())
