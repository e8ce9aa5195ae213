"""What the choice of pairs loses: `--doubles auto` beside `--doubles all` on generated jobs.

    python -m benchmarks.pairs [--jobs N] [--size PARTS]

A hidden double fault on a generated vehicle, five meter readings where it shows. Printed for the jobs in
which singles leave doubts, so that pairs are looked at at all: whether the first of both lists is the same,
the share of the first ten of `all` that `auto` has too, and the probability that `all` gives to what is not
in the list of `auto` (the share missed).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from random import Random

import numpy as np

from amptrail.circuit.model import Circuit, Term
from amptrail.faults import changes
from amptrail.jobs.judging.suspects import judge
from amptrail.sheet import print_sheet
from amptrail.sheet.parse import parse
from amptrail.solve import Tap, assemble, read, run
from benchmarks.generator import faults, generate, points

JOBS, SIZE, READINGS, TOP = 200, 30, 5, 10


def job(size: int, seed: int) -> tuple[Circuit, str]:
    """A circuit and the readings taken on it: at the points that tell most of the one fault, of the other,
    and of both from a healthy vehicle, in turn."""
    circuit = generate(size, seed % 20)
    net = assemble(circuit)
    (hidden,) = faults(circuit, 1, seed, doubles=1.0)
    each = [tuple(changes(net, f)) for f in hidden]
    runs = run(net, [tuple(c for x in each for c in x), *each, ()])
    where = [t for t in points(circuit) if isinstance(t, Term)]
    got = read(net, runs, [Tap(t) for t in where]).value
    away = np.abs(got[1:] - got[:1])
    rng, lines = Random(seed), []
    for k in range(READINGS):
        order = np.argsort(-away[k % 3].ravel(), kind="stable")[:12]
        phase, point = np.unravel_index(int(rng.choice(list(order))), away[0].shape)
        lines.append(f"{where[point]} in {net.phases[phase].name} meter {got[0, phase, point]:.2f}")
    return parse(print_sheet(circuit)), "\n".join(dict.fromkeys(lines))


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    p.add_argument("--jobs", type=int, default=JOBS)
    p.add_argument("--size", type=int, default=SIZE)
    asked = p.parse_args(arguments)
    same: list[bool] = []
    shared: list[float] = []
    missed: list[float] = []
    spent = {"auto": 0.0, "all": 0.0}
    for seed in range(asked.jobs):
        circuit, text = job(asked.size, seed)
        got = {}
        for mode in spent:
            began = time.process_time()
            got[mode] = judge(circuit, text, mode)
            spent[mode] += time.process_time() - began
            if all(len(s.causes) < 2 for s in got["auto"].suspects):
                break
        else:
            few, many = got["auto"], got["all"]
            mine = [few.suspects[h].key for h in few.post.ranking()[:TOP]]
            first = [many.suspects[h].key for h in many.post.ranking()[:TOP]]
            known = {s.key for s in few.suspects}
            gone = [h for h, s in enumerate(many.suspects) if s.key not in known]
            same.append(first[0] == mine[0])
            shared.append(sum(k in mine for k in first) / len(first))
            missed.append(float(many.post.probability[gone].sum()))
            print(f"job {seed}: auto has {shared[-1]:.2f}, missed {missed[-1]:.4f}", flush=True)
    print(f"{asked.jobs} generated jobs of {asked.size} parts, {len(same)} of them look at pairs")
    if same:
        print(f"the first is the same in {np.mean(same):.3f} of them")
        print(f"of the first {TOP} of all, auto has {np.mean(shared):.3f} (worst job {min(shared):.2f})")
        print(f"probability missed: mean {np.mean(missed):.4f}, worst {max(missed):.3f}")
    print(f"processor time: auto {spent['auto']:.1f} s, all {spent['all']:.1f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
