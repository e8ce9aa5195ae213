"""Are the stated probabilities honest? `python -m benchmarks.calibration [--jobs N] [--circuits NAME ..]`

Own world: cause, severity, tolerances, instrument error and misprobes are drawn from the belief's own model
on real predictions of a circuit; a few meter readings at random points are then judged. Strange world
(`--strange`): tolerances x 1.5 and misprobes 5 %, judged by the same belief. Printed: mean of log score minus
entropy with two standard errors (0 when calibrated; needs no bins), how often something said to be 95 % sure
was wrong, and ECE (biased upwards in small samples: CHECKS A17, from the project's own brief).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Hypothesis, Reading, Table, posterior
from amptrail.belief.grids import Cells, cells
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.observe import observations
from amptrail.jobs.offers import measured
from amptrail.jobs.predict import evidence, solve_all, table
from amptrail.jobs.suspects import singles
from amptrail.sheet import parse
from amptrail.sheet.words import free_text, term_text
from benchmarks.whole_jobs import circuits

Array = NDArray[np.float64]
SPAN_V = (0.0, 16.0)
SURE = 0.95


@dataclass(frozen=True)
class World:
    """How the vehicles differ from what belief thinks of them."""

    tolerance: float = 1.0
    misprobe: float | None = None


def prepared(sheet: str, readings: int, seed: int) -> Table:
    """Predictions of every single cause at `readings` random points and phases, values still unset."""
    circuit = parse(sheet)
    rng = Random(seed)
    cycle = drive_cycle(circuit)
    phases = [i for i, p in enumerate(cycle) if p.base not in ("asleep", "after-run")]
    offered = [
        t for t in measured(circuit, phases, ("meter",), ()) if t.instrument == "meter" and t.spot.b is None
    ]
    chosen = rng.sample([t for t in offered if not t.conditions.out], readings)
    lines = [f"{term_text(t.spot.a)} in {free_text(cycle[t.phase].name)} meter 6 V" for t in chosen]
    seen = evidence(observations(circuit, "\n".join(lines)).used)
    base = singles(circuit)
    t = table(circuit, base, seen, solve_all(circuit, base, seen), 0)
    return replace(t, readings=tuple(replace(r, span=SPAN_V) for r in t.readings))


def _middle(h: Hypothesis, c: Cells, at: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Mean, covariance and wrong-place readings of a severity drawn inside one cell."""
    p = h.prediction
    mid, move = c.smooth(p.mean[None])
    inside = sum((rng.random() - 0.5) * move[0, at, a] for a in range(move.shape[2]))
    cov = np.zeros((p.mean.shape[1],) * 2) if p.cov is None else np.einsum("g,gij->ij", c.linear[at], p.cov)
    others = np.zeros((p.mean.shape[1], 0)) if p.others is None else np.einsum(
        "g,gmk->mk", c.linear[at], p.others
    )  # fmt: skip
    return mid[0, at] + inside, cov, others


def _value(r: Reading, meant: float, others: Array, world: World, rng: np.random.Generator) -> float:
    share = r.misprobe if world.misprobe is None else world.misprobe
    if rng.random() >= share:
        return meant + r.sigma * float(rng.standard_normal())
    k = int(np.searchsorted(np.cumsum(r.other_weights), rng.random()))
    if k < len(others):
        slack = max(r.sigma, 0.01 * (r.span[1] - r.span[0]))
        return float(others[k]) + slack * float(rng.standard_normal())
    return float(rng.uniform(*r.span))


def drawn(t: Table, world: World, rng: np.random.Generator) -> tuple[Table, int]:
    """One job: the table with values read on a drawn vehicle, and which cause it had."""
    prior = np.asarray([h.prior for h in t.hypotheses])
    true = int(rng.choice(len(prior), p=prior / prior.sum()))
    h = t.hypotheses[true]
    c = cells(h.grid)
    at = int(rng.choice(len(c.log_weight), p=np.exp(c.log_weight)))
    mean, cov, others = _middle(h, c, at, rng)
    meant = rng.multivariate_normal(mean, world.tolerance**2 * cov, method="svd")
    values = [_value(r, float(m), o, world, rng) for r, m, o in zip(t.readings, meant, others, strict=True)]
    return replace(
        t, readings=tuple(replace(r, value=v) for r, v in zip(t.readings, values, strict=True))
    ), true


def ece(said: Array, right: Array, bins: int = 10) -> float:
    """Expected calibration error of the first suspect."""
    which = np.minimum((said * bins).astype(int), bins - 1)
    return float(sum(abs(said[which == b].mean() - right[which == b].mean()) * (which == b).mean()
                     for b in np.unique(which)))  # fmt: skip


def run(t: Table, jobs: int, world: World, seed: int) -> tuple[Array, Array, Array]:
    """Per job: log score minus entropy (nats), what the first suspect was given, whether it was right."""
    rng = np.random.default_rng(seed)
    excess, said, right = np.zeros(jobs), np.zeros(jobs), np.zeros(jobs)
    for i in range(jobs):
        job, true = drawn(t, world, rng)
        p = np.maximum(posterior(job).probability, 1e-300)
        excess[i] = -np.log(p[true]) + float((p * np.log(p)).sum())
        said[i], right[i] = float(p.max()), float(p.argmax() == true)
    return excess, said, right


def line(name: str, excess: Array, said: Array, right: Array) -> str:
    """One row of the table."""
    two_se = 2 * float(excess.std()) / len(excess) ** 0.5
    sure = said >= SURE
    wrong = f"{1 - right[sure].mean():.1%} of {int(sure.sum())}" if sure.any() else "none"
    return (f"{name:12} {len(excess)} jobs: log score - entropy {excess.mean():+.3f} +- {two_se:.3f} nat; "
            f"said {SURE:.0%} and wrong {wrong}; ECE {ece(said, right):.3f}")  # fmt: skip


def main(argv: Sequence[str]) -> int:
    """Draw, judge, print."""
    parser = argparse.ArgumentParser(description="calibration of suspects")
    parser.add_argument("--jobs", type=int, default=300, help="jobs a circuit")
    parser.add_argument("--readings", type=int, default=4)
    parser.add_argument("--circuits", nargs="*", default=("made30-1", "made30-2", "c02", "starter"))
    parser.add_argument("--strange", action="store_true")
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args(argv)
    world = World(1.5, 0.05) if asked.strange else World()
    rows = []
    for name, sheet in circuits(asked.circuits).items():
        got = run(prepared(sheet, asked.readings, asked.seed), asked.jobs, world, asked.seed)
        rows.append(got)
        print(line(name, *got), flush=True)
    print(line("all", *(np.concatenate(x) for x in zip(*rows, strict=True))))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
