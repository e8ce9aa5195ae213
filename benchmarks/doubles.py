"""Random double faults on generated vehicles: has every lane an operating point, and do its currents add up?

    python -m benchmarks.doubles [--lanes N]

Two causes of the catalogue at random in each lane, resistances log-uniform from 1 mohm to 1 Mohm, one drive
cycle from asleep, several sizes and seeds. A lane that never comes to rest (chatter) has still been
solved at every step; one without an answer would be `not_converged`.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from amptrail.faults import catalogue, changes
from amptrail.solve import CHATTER, RACE, Change, assemble, conservation, run
from benchmarks.generator import generate

VEHICLES = ((30, 0), (30, 5), (60, 1), (60, 2), (120, 3), (250, 4))  # size, seed
LANES = 20_000
CHUNK = 500
LOW_OHM, HIGH_OHM = 1e-3, 1e6


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of the lanes of one vehicle."""

    lanes: int
    solves: int
    searched: int  # solves that needed the line search
    without: int  # solves without an answer
    unbalanced: int
    chatter: int  # phases
    race: int
    left_a: float  # the largest current left over at a node of a settled phase


def _lane(rng: Random, size: int, seed: int) -> tuple[Change, ...]:
    circuit = generate(size, seed)
    net, causes = assemble(circuit), [c for c in catalogue(circuit) if c.faults]
    while True:
        pair = rng.sample(causes, 2)
        out: list[Change] = []
        for f in (f for c in pair for f in c.faults):
            out += changes(net, f, LOW_OHM * (HIGH_OHM / LOW_OHM) ** rng.random())
        if sum(c.kind == "bridge" for c in out) <= 4:  # as many as a lane takes
            return tuple(out)


def tried(size: int, seed: int, lanes: int) -> Tried:
    """Solve `lanes` random double faults on one generated vehicle."""
    rng = Random(f"doubles/{size}/{seed}")
    net = assemble(generate(size, seed))
    sums = np.zeros(6, np.int64)
    left = 0.0
    for first in range(0, lanes, CHUNK):
        runs = run(net, [_lane(rng, size, seed) for _ in range(min(CHUNK, lanes - first))], cycles=1)
        c = runs.counters
        figures = [c["solves"], c["searched"], c["not_converged"], c["unbalanced"]]
        sums += np.array([*figures, (runs.status == CHATTER).sum(), (runs.status == RACE).sum()])
        left = max(left, conservation(runs)[0])
    solves, searched, without, unbalanced, chatter, race = (int(x) for x in sums)
    return Tried(lanes, solves, searched, without, unbalanced, chatter, race, left)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line a vehicle; 1 when any solve had no answer."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--lanes", type=int, default=LANES)
    lanes = parser.parse_args(arguments).lanes
    bad = 0
    for size, seed in VEHICLES:
        start = time.perf_counter()
        t = tried(size, seed, -(-lanes // len(VEHICLES)))
        bad += t.without
        print(
            f"{size} parts, seed {seed}: {t.lanes} lanes, {t.solves} solves, {t.without} without an answer "
            f"({t.unbalanced} unbalanced), {t.searched} by line search, {t.chatter} phases never at rest, "
            f"{t.race} races, at most {t.left_a:.1e} A left over, {time.perf_counter() - start:.1f} s",
            flush=True,
        )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
