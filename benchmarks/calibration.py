"""Are stated probabilities honest in the belief's own world? `python -m benchmarks.calibration [--jobs N]`

Cause, severity, tolerances, instrument error, misprobes and words are drawn from the belief's own model: from
its own tables, computed once a set of readings on demos and made vehicles; the values are
then judged. Printed: mean of log score minus entropy with two standard errors (0 when calibrated; needs no
bins), how often a repair said to be 95 % sure was wrong with the upper 95 % bound of that share, how often it
was said that nothing fits, and ECE (biased upwards in small samples: CHECKS A17 of the brief).
`benchmarks.strange` is the same in a world that differs from what is believed of it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Reading, Table, posterior
from amptrail.belief.beside import ASTRAY, LIKE_DRAWN
from amptrail.belief.grids import cells
from amptrail.belief.likelihood import SLACK_SHARE
from amptrail.circuit.model import Circuit
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.jobs.evidence.beforehand import singles
from amptrail.jobs.evidence.predict import evidence, solve_all, table
from amptrail.jobs.judging.offers import measured
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse
from amptrail.sheet.words import free_text, name_text, term_text
from benchmarks.honesty import Judged, fleet, judged, line

Array = NDArray[np.float64]
SPAN_V = (0.0, 16.0)
ANSWERS = ("works", "does not work")
MOST_READINGS = 6
CANDIDATES, AMONG = 30, 15  # readings a circuit is asked for; of which a set is chosen
COMPLAINTS = 0.9  # share of jobs in which the function asked about is the one that fails


@dataclass(frozen=True, eq=False)
class Prepared:
    """One set of readings on one circuit: a table for either answer of the function asked about, numbers
    still unset."""

    tables: tuple[Table, Table]


def offered(circuit: Circuit, rng: Random) -> list[str]:
    """Lines of readings at points and phases taken at random, with a value that stands in."""
    cycle = drive_cycle(circuit)
    awake = [i for i, p in enumerate(cycle) if p.base not in ("asleep", "after-run")]
    found = [t for t in measured(circuit, awake, ("meter",), ()) if t.instrument == "meter"]
    plain = [t for t in found if t.spot.b is None and not t.conditions.out]
    chosen = rng.sample(plain, min(CANDIDATES, len(plain)))
    return [f"{term_text(t.spot.a)} in {free_text(cycle[t.phase].name)} meter 6 V" for t in chosen]


def functions(circuit: Circuit, rng: Random, most: int) -> list[str]:
    """`function in phase` where it must work; at least one entry, empty when the sheet names no function."""
    found = [
        f"{name_text(m.name)} in {free_text(p.name)}"
        for m in circuit.musts for p in drive_cycle(circuit) if names_phase(circuit, p, m.on)
    ]  # fmt: skip
    return rng.sample(found, min(most, len(found))) or [""]


def telling(t: Table, among: Sequence[int], readings: int) -> list[int]:
    """Readings that tell the causes of a complaint apart: each time the one among these that still differs
    most over what the complaint leaves."""
    p = posterior(t.select([], range(len(t.words)))).probability
    mean = np.stack([h.prediction.mean.mean(axis=0) for h in t.hypotheses])[:, among]
    left = (mean - p @ mean) * np.sqrt(p)[:, None]
    taken: list[int] = []
    for _ in range(min(readings, len(among))):
        best = int((left**2).sum(axis=0).argmax())
        taken.append(among[best])
        along = left[:, best] / max(float(np.linalg.norm(left[:, best])), 1e-9)
        left = left - np.outer(along, along @ left)
    return list(dict.fromkeys(taken))


def prepared(circuit: Circuit, sets: int, seed: int) -> list[Prepared]:
    """Sets of readings with the predictions of every single cause, from one table of the circuit."""
    rng = Random(seed)
    numbers, asked = offered(circuit, rng), functions(circuit, rng, sets)
    said = [f"{f} {word}" for f in asked if f for word in ANSWERS]
    seen = evidence(observations(circuit, "\n".join(numbers + said)).used)
    base = singles(circuit)
    whole = table(circuit, base, seen, solve_all(circuit, base, seen), 0)
    whole = replace(whole, readings=tuple(replace(r, span=SPAN_V) for r in whole.readings))
    out = []
    for k in range(sets):
        f = len(ANSWERS) * (k % len(asked))
        words = [[f], [f + 1]] if said else [[], []]
        among = sorted(rng.sample(range(len(numbers)), min(AMONG, len(numbers))))
        keep = telling(whole.select(range(len(numbers)), words[1]), among, 2 + k % (MOST_READINGS - 1))
        out.append(Prepared((whole.select(keep, words[0]), whole.select(keep, words[1]))))
    return out


def value(r: Reading, meant: float, others: Array, rng: np.random.Generator, misprobe: float) -> float:
    """What is written down: the metal's volts through the instrument, or something else."""
    if rng.random() >= misprobe:
        return meant + r.sigma * float(rng.standard_normal())
    k = int(np.searchsorted(np.cumsum(r.other_weights), rng.random()))
    if k < len(others):
        slack = max(r.sigma, SLACK_SHARE * (r.span[1] - r.span[0]))
        return float(others[k]) + slack * float(rng.standard_normal())
    return float(rng.uniform(*r.span))


def undrawn(p: Prepared, rng: np.random.Generator) -> Table:
    """A vehicle that is not as drawn: some cause is true, and readings about which the drawing is wrong, an
    unknown share, are as on some other vehicle or anything."""
    t = p.tables[0]
    astray = float(rng.choice(ASTRAY))
    readings = []
    true, at = _cause(t, rng)
    mean, cov, _ = _at(t, true, at, rng)
    for j, r in enumerate(t.readings):
        meant, var = mean[j], cov[j, j]
        if rng.random() < astray:
            if rng.random() >= LIKE_DRAWN:
                readings.append(replace(r, value=float(rng.uniform(*r.span))))
                continue
            other, other_cov, _ = _at(t, *_cause(t, rng), rng)
            meant, var = other[j], other_cov[j, j]
        readings.append(replace(r, value=float(rng.normal(meant, np.hypot(r.sigma, var**0.5)))))
    if rng.random() < astray:
        other_cause = _cause(t, rng)
        answered = _answer(p, *other_cause, rng) if rng.random() < LIKE_DRAWN else int(rng.random() < 0.5)
    else:
        answered = _answer(p, true, at, rng)
    return replace(p.tables[answered], readings=tuple(readings))


def _cause(t: Table, rng: np.random.Generator) -> tuple[int, int]:
    """A cause by prior and one of its cells."""
    prior = np.asarray([h.prior for h in t.hypotheses])
    true = int(rng.choice(len(prior), p=prior / prior.sum()))
    c = cells(t.hypotheses[true].grid)
    return true, int(rng.choice(len(c.log_weight), p=np.exp(c.log_weight)))


def _at(t: Table, true: int, at: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Mean, covariance and wrong-place readings of a severity drawn inside one cell."""
    h = t.hypotheses[true]
    c = cells(h.grid)
    mid, move = c.smooth(h.prediction.mean[None])
    mean = mid[0, at] + sum((rng.random() - 0.5) * move[0, at, a] for a in range(move.shape[2]))
    assert h.prediction.cov is not None and h.prediction.others is not None
    cov = np.einsum("g,gij->ij", c.linear[at], h.prediction.cov)
    return mean, cov, np.einsum("g,gmk->mk", c.linear[at], h.prediction.others)


def drawn(p: Prepared, rng: np.random.Generator) -> tuple[Table, int | None]:
    """One job: the table with values read on a drawn vehicle, and which cause it had (None: none of them)."""
    t = p.tables[0]
    if rng.random() < t.undrawn:
        return undrawn(p, rng), None
    true, at = _cause(t, rng)
    mean, cov, others = _at(t, true, at, rng)
    meant = rng.multivariate_normal(mean, cov, method="svd")
    answered = _answer(p, true, at, rng)
    readings = tuple(
        replace(r, value=value(r, float(m), o, rng, r.misprobe))
        for r, m, o in zip(t.readings, meant, others, strict=True)
    )
    return replace(p.tables[answered], readings=readings), true


def _answer(p: Prepared, true: int, at: int, rng: np.random.Generator) -> int:
    """Which answer is given about the function: 0 works, 1 does not."""
    if not p.tables[0].words:
        return 0
    word = p.tables[0].words[0]
    if rng.random() < word.misprobe:
        return int(rng.random() < 0.5)
    columns = [t.hypotheses[true].prediction.words for t in p.tables]
    here = cells(p.tables[0].hypotheses[true].grid).linear[at]
    works, fails = (float(np.exp(here @ c)[0]) for c in columns if c is not None)
    return int(rng.random() < fails / (works + fails))


def run(p: Prepared, jobs: int, seed: int) -> list[Judged]:
    """Draw and judge. What the owner says is part of what is judged, so jobs may be chosen by it."""
    rng = np.random.default_rng(seed)
    out: list[Judged] = []
    while len(out) < jobs:
        wanted = rng.random() < COMPLAINTS
        t, true = drawn(p, rng)
        while wanted and p.tables[0].words and t.words is not p.tables[1].words:
            t, true = drawn(p, rng)
        group = "" if true is None else t.hypotheses[true].group
        out.append(judged(posterior(t), [] if true is None else [true], [group]))
    return out


def main(argv: Sequence[str]) -> int:
    """Draw, judge, print."""
    parser = argparse.ArgumentParser(description="calibration of suspects in the belief's own world")
    parser.add_argument("--jobs", type=int, default=2000)
    parser.add_argument("--made", type=int, default=15, help="generated vehicles beside the demos")
    parser.add_argument("--sets", type=int, default=10, help="sets of readings a circuit")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--each", action="store_true", help="a line for each circuit too")
    wanted = parser.parse_args(argv)
    sheets = fleet(wanted.made)
    each = -(-wanted.jobs // (len(sheets) * wanted.sets))
    rows: list[Judged] = []
    for name, sheet in sheets.items():
        circuit = parse(sheet)
        mine: list[Judged] = []
        for k, one in enumerate(prepared(circuit, wanted.sets, wanted.seed)):
            mine += run(one, each, wanted.seed * 1000 + k)
        if wanted.each:
            print(line(name, mine), flush=True)
        rows += mine
    print(line("own world", rows))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
