"""What the choice of pairs loses: `--doubles auto` beside `--doubles all` on generated jobs.

    python -m benchmarks.pairs [--jobs N] [--size PARTS] [--first SEED] [--minutes M] [--every K]

A hidden double fault on a generated vehicle, five meter readings where it shows. Every job is weighed both
ways; with --every K, of the jobs in which `auto` looks at no pair, one in K. Where one fault explains
everything, `all` goes on to list it beside every other one in turn, which asks for no other work: so both
are compared twice, as lists of hypotheses and cause by cause (the probability that a cause is among what is
wrong). Printed: whether the first of both is the same, the share of the first ten of `all` that are in the
first ten of `auto`, the probability that `all` gives to what `auto` does not know (the share missed), and
the most that the probability of any one cause differs.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Sequence
from random import Random

import numpy as np

from amptrail.circuit.model import Circuit, Term
from amptrail.faults import changes
from amptrail.jobs.evidence.doubles import POOL
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.judging.suspects import JUDGED, judge
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


def causes(j: Judgement) -> dict[str, float]:
    """The probability of every cause to be among what is wrong, alone or beside another."""
    out: dict[str, float] = {}
    for s, p in zip(j.suspects, j.post.probability, strict=True):
        for c in s.causes:
            out[c.id] = out.get(c.id, 0.0) + float(p)
    return out


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    p.add_argument("--jobs", type=int, default=JOBS)
    p.add_argument("--size", type=int, default=SIZE)
    p.add_argument("--first", type=int, default=0, help="seed of the first job")
    p.add_argument("--minutes", type=float, default=math.inf, help="begin no further job after these")
    p.add_argument("--every", type=int, default=1, help="of jobs where auto looks at no pair, one in these")
    asked = p.parse_args(arguments)
    until = time.monotonic() + 60.0 * asked.minutes
    same: list[bool] = []
    shared: list[float] = []
    missed: list[float] = []
    blamed: list[float] = []
    apart: list[float] = []
    of_pairs: list[float] = []
    left_out = 0
    spent = {"auto": 0.0, "all": 0.0}
    for seed in range(asked.first, asked.first + asked.jobs):
        if time.monotonic() > until:
            break
        circuit, text = job(asked.size, seed)
        got = {}
        for mode in spent:
            began = time.process_time()
            got[mode] = judge(circuit, text, mode)
            spent[mode] += time.process_time() - began
            pairs = got["auto"].pairs_weighed > 0
            if mode == "auto" and not pairs and seed % asked.every:
                break
        if "all" not in got:
            left_out += 1
            continue
        for kept in (JUDGED, POOL):  # a judgement of all pairs takes half a gigabyte
            kept.clear()
        few, many = got["auto"], got["all"]
        mine = [few.suspects[h].key for h in few.post.ranking()[:TOP]]
        known = {s.key for s in few.suspects}
        first = [(many.suspects[h].key, float(many.post.probability[h])) for h in many.post.ranking()[:TOP]]
        same.append(first[0][0] == mine[0])
        shared.append(sum(k in mine for k, _ in first) / len(first))
        gone = [h for h, s in enumerate(many.suspects) if s.key not in known]
        missed.append(float(many.post.probability[gone].sum()))
        one, two = causes(few), causes(many)
        ranked = [sorted(x, key=lambda c: -x[c])[:TOP] for x in (one, two)]
        blamed.append(sum(c in ranked[0] for c in ranked[1]) / TOP)
        apart.append(max(abs(one.get(c, 0.0) - p) for c, p in two.items()))
        told = "pairs" if pairs else "singles"
        print(
            f"job {seed}: {told}, auto has {shared[-1]:.2f}, missed {missed[-1]:.4f}; "
            f"causes {blamed[-1]:.2f}, {apart[-1]:.4f} apart",
            flush=True,
        )
        if pairs or not same[-1]:
            for rank, (name, probability) in enumerate(first, 1):
                if name not in mine:
                    how = "lower" if name in known else "unknown"
                    print(f"   {rank} of all is {how} in auto: {probability:.4f} {name}", flush=True)
        if pairs:
            of_pairs.append(shared[-1])
    print(f"{len(same) + left_out} generated jobs of {asked.size} parts, {len(same)} weighed both ways;")
    print(f"in {len(of_pairs)} of these auto looks at pairs")
    if same:
        print(f"the first is the same in {sum(same)}; the first {TOP} in {sum(x == 1.0 for x in shared)}")
        print(f"of the first {TOP} of all, auto has {np.mean(shared):.4f} (worst job {min(shared):.2f})")
        if of_pairs:
            print(f"   where it looks at pairs {np.mean(of_pairs):.4f} (worst job {min(of_pairs):.2f})")
        print(f"cause by cause, of the first {TOP} auto has {np.mean(blamed):.4f} ({min(blamed):.2f})")
        print(f"   probability of any one cause apart: mean {np.mean(apart):.5f}, worst {max(apart):.4f}")
        print(f"probability missed: mean {np.mean(missed):.5f}, worst {max(missed):.4f}")
    print(f"processor time: auto {spent['auto']:.1f} s, all {spent['all']:.1f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
