"""The kernel beside the twin: every node, branch and state, for every cause a circuit allows: the misses.

    python -m benchmarks.twin_misses [--seeds N] [SHEET ...]

Two computations that share no numeric code; both must give the same volts within 1e-9 V.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from amptrail import solve, twin
from amptrail.circuit.model import Circuit, Fault
from amptrail.faults import catalogue, changes
from amptrail.sheet import parse
from amptrail.solve.runs import STATUS, Runs
from amptrail.twin.walk import amps_by_name
from benchmarks import generator

Faults = tuple[Fault, ...]
NEAR_V = 1e-9


@dataclass(frozen=True)
class Difference:
    """What the two do not agree on."""

    faults: Faults
    phase: str
    what: str
    twin: object
    kernel: object


def _amps_apart(moment: twin.Instant, runs: Runs, lane: int, p: int) -> Iterator[tuple[str, float, float]]:
    """Branches whose amps differ by more than their volts could (1e-9 V over a milliohm)."""
    known = runs.network.branch_of
    for name, ours in amps_by_name(moment.machine, moment.state, moment.phase).items():
        number = known.get(name.lower().replace("-", "_"))
        if number is None:
            yield name, ours, float("nan")
            continue
        theirs = float(runs.amps[lane, p, number])
        if abs(ours - theirs) > max(1e-6, 1e-7 * abs(theirs)):
            yield name, ours, theirs


def apart(
    circuit: Circuit, cases: Sequence[Faults], start: str = "asleep", cycles: int = 2
) -> tuple[list[Difference], int]:
    """(every difference, phases compared). Where both chatter, only that is compared."""
    net = solve.assemble(circuit)
    runs = solve.run(net, [tuple(x for f in c for x in changes(net, f)) for c in cases], start, cycles)
    found: list[Difference] = []
    compared = 0
    for lane, faults in enumerate(cases):
        for p, moment in enumerate(twin.run(circuit, faults, start, cycles)):
            compared += 1
            phase = moment.phase.name
            status = STATUS[int(runs.status[lane, p])]
            if status != moment.status:
                found.append(Difference(faults, phase, "status", moment.status, status))
            if "chatter" in (status, moment.status):
                continue
            theirs = runs.state(lane, p)
            for word, names in moment.words.items():
                if names != sorted(getattr(theirs, word)):
                    found.append(Difference(faults, phase, word, names, getattr(theirs, word)))
            for term in moment.machine.f.bench.wiring.names:
                ours, volts = moment.volts(term), float(runs.volts[lane, p, net.node(term)])
                if abs(ours - volts) > NEAR_V:
                    found.append(Difference(faults, phase, str(term), ours, volts))
            found += [Difference(faults, phase, n, a, b) for n, a, b in _amps_apart(moment, runs, lane, p)]
    return found, compared


def cases(circuit: Circuit, seed: int) -> list[Faults]:
    """Healthy, every cause of the catalogue, every fault of the sheet, and invented doubles."""
    every = [h.faults for h in catalogue(circuit) if h.faults] + [f.faults for f in circuit.faults]
    return [(), *every, *generator.faults(circuit, 50, seed, doubles=1.0)]


def main(argv: list[str]) -> int:
    """Print the misses; exit 1 when there are any."""
    parser = argparse.ArgumentParser(description="where kernel and twin do not agree")
    parser.add_argument("--seeds", type=int, default=4, help="generated circuits of 30 and of 60 parts")
    here = Path(__file__).parent.parent
    parser.add_argument("sheets", nargs="*", type=Path, default=sorted((here / "demos").glob("*.sheet")))
    asked = parser.parse_args(argv)
    circuits = [parse(p.read_text(encoding="utf-8"), p.stem) for p in asked.sheets]
    circuits += [generator.generate(size, seed) for size in (30, 60) for seed in range(asked.seeds)]
    missed = 0
    for n, circuit in enumerate(circuits):
        found, compared = apart(circuit, cases(circuit, n))
        missed += len(found)
        for d in found[:10]:
            print(f"{circuit.name} {d.faults} {d.phase} {d.what}: twin {d.twin}, kernel {d.kernel}")
        print(f"{circuit.name}: {len(found)} differences in {compared} phases", flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
