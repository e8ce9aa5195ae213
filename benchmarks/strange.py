"""Are stated probabilities honest in a strange world? `python -m benchmarks.strange [--jobs N]`

Tolerances are 1.5 times as wide, one reading in twenty is a misprobe, causes are drawn by how often their
kind fails on another circuit, one vehicle in five has two, and some sheets have one wire wrong. Each job is
what the owner says and up to six meter readings, judged by the whole program: pairs, leaks, faults that come
and go and wrong instruments brought in as it sees fit. What the vehicle shows comes from solutions of the
true circuit. On a wrong sheet readings that contradict it are entered one by one: does it say "nothing fits"
within four?
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import islice
from random import Random

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Grid, Table
from amptrail.belief.layout import lay
from amptrail.circuit.model import Circuit, Fault
from amptrail.errors import AmptrailError
from amptrail.faults import Hypothesis as Cause
from amptrail.faults import catalogue
from amptrail.instruments import by_name
from amptrail.jobs.evidence.beforehand import singles
from amptrail.jobs.evidence.doubles import bridges
from amptrail.jobs.evidence.predict import Evidence, Suspect, evidence, solve_all, table, with_severity
from amptrail.jobs.judging.drawn import needs_two
from amptrail.jobs.judging.suspects import weigh
from amptrail.jobs.solved.observe import observations
from amptrail.jobs.solved.session import session
from amptrail.sheet import parse
from amptrail.solve.network import SPARE
from benchmarks.calibration import ANSWERS, functions, offered, telling, value
from benchmarks.honesty import Judged, fleet, judged, line

Array = NDArray[np.float64]
TOLERANCE, MISPROBE, DOUBLES = 1.5, 0.05, 0.2
METER = by_name("meter")
FOREIGN = 0.5  # of a cause's chance that follows how often its kind fails on the other circuit
WRONG_SHEETS = 0.1
CONTRADICTS_SIGMAS, MOST_CONTRADICTING = 4.0, 4
GIVES = 0.1  # a cause that shows the complaint with at least this chance
FUNCTIONS, CANDIDATES, TRIES = 5, 18, 25
PER_JOB = 12  # vehicles drawn for each that is judged: most fail in nothing asked about


@dataclass(frozen=True, eq=False)
class Truths:
    """Vehicles with their causes, and what each shows at all readings offered and functions asked."""

    causes: tuple[tuple[Cause, ...], ...]
    shown: Table


def foreign_priors(circuit: Circuit, other: Circuit) -> tuple[list[Cause], list[float]]:
    """Causes of the circuit with chances that lean to how often each kind and way fails on the other."""
    kinds = {p.name: p.kind for c in (circuit, other) for p in c.parts}

    def by_kind(c: Circuit) -> dict[tuple[str, str], float]:
        out: dict[tuple[str, str], float] = {}
        for x in catalogue(c):
            if x.faults:
                k = (kinds.get(x.part, ""), x.faults[0].mode)
                out[k] = out.get(k, 0.0) + x.prior
        return out

    here, there = by_kind(circuit), by_kind(other)
    causes = [x for x in catalogue(circuit) if x.faults]
    weights = []
    for x in causes:
        k = (kinds.get(x.part, ""), x.faults[0].mode)
        weights.append(x.prior * (1 - FOREIGN + FOREIGN * there.get(k, 0.0) / here[k]))
    return causes, weights


def rewired(sheet: str, b: Bench, rng: Random) -> Circuit | None:
    """The vehicle as it really is where the sheet has one wire wrong: a path ends elsewhere, and when
    nothing is broken everything still works. None when no such vehicle was found."""
    rows = sheet.splitlines()
    paths = [n for n, r in enumerate(rows) if r.startswith("path ") and " -- " in r]
    for _ in range(TRIES if len(paths) > 1 else 0):
        one, two = rng.sample(paths, 2)
        new = list(rows)
        if rng.random() < 0.5:
            new[one] = rows[one][: rows[one].rfind(" -- ")] + rows[two][rows[two].rfind(" -- ") :]
        else:
            new[one] = rows[two][: rows[two].find(" -- ")] + rows[one][rows[one].find(" -- ") :]
        try:
            vehicle = parse("\n".join(new))
            if new != rows and _works(vehicle, b):
                return vehicle
        except AmptrailError:  # no circuit, or a place of the sheet it does not have
            continue
    return None


def _works(vehicle: Circuit, b: Bench) -> bool:
    """Whether the vehicle does all it is asked for."""
    sound = [_suspect((), ())]
    p = table(vehicle, sound, b.seen, solve_all(vehicle, sound, b.seen, keep=False), None).hypotheses[0]
    return p.prediction.words is not None and bool((p.prediction.words[0] < np.log(0.3)).all())


def _suspect(causes: Sequence[Cause], faults: tuple[Fault, ...]) -> Suspect:
    return Suspect(tuple(causes), Grid(), (faults,), 1.0)


def truths(
    circuit: Circuit, vehicle: Circuit, other: Circuit, seen: Evidence, count: int, rng: Random
) -> Truths:
    """`count` vehicles and what they show; `vehicle` differs from `circuit` where the sheet is wrong."""
    causes, weights = foreign_priors(circuit, other)
    chosen: list[Suspect] = []
    while len(chosen) < count:
        drawn = rng.choices(causes, weights, k=2 if rng.random() < DOUBLES else 1)
        if len({str(f.at) for c in drawn for f in c.faults}) < sum(len(c.faults) for c in drawn):
            continue
        faults: tuple[Fault, ...] = ()
        for c in drawn:
            low, high = c.severity or (1.0, 1.0)
            faults += with_severity(c.faults, [low * (high / low) ** rng.random()])
        if bridges(_suspect(drawn, faults)) > SPARE:
            continue
        try:
            session(vehicle).lane(faults)
        except AmptrailError:  # a place the vehicle as it really is does not have
            continue
        chosen.append(_suspect(drawn, faults))

    shown = table(vehicle, chosen, seen, solve_all(vehicle, chosen, seen, keep=False), None)
    return Truths(tuple(s.causes for s in chosen), shown)


@dataclass(frozen=True, eq=False)
class Bench:
    """One circuit ready to be judged: reading lines, functions, the singles' table."""

    circuit: Circuit
    numbers: list[str]
    asked: list[str]
    seen: Evidence
    whole: Table

    @cache  # noqa: B019
    def telling(self, function: int, readings: int) -> tuple[int, ...]:
        """Readings that tell the causes of a complaint apart."""
        n = len(self.numbers)
        return tuple(telling(self.whole.select(range(n), [function]), range(n), readings))

    @cache  # noqa: B019
    def alone(self, function: int) -> tuple[tuple[int, ...], Array, Array]:
        """All readings, telling ones first; what each severity of a single cause that gives the complaint
        reads there [row, reading], and the Cholesky factor of its covariance, the meter's with it."""
        n = len(self.numbers)
        first = self.telling(function, n)
        order = (*first, *(j for j in range(n) if j not in first))
        t = self.whole.select(order, [function])
        sigma = tuple(r.sigma for r in t.readings)
        at = lay(t.hypotheses, sigma, 1)
        gives = at.words[:, 0] > np.log(GIVES)
        return order, at.mean[gives], np.linalg.cholesky(at.cov[gives] + np.diag(np.square(sigma)))


def bench(sheet: str, seed: int) -> Bench:
    circuit, rng = parse(sheet), Random(seed)
    numbers, asked = offered(circuit, rng)[:CANDIDATES], [f for f in functions(circuit, rng, FUNCTIONS) if f]
    said = [f"{f} {ANSWERS[1]}" for f in asked]
    seen = evidence(observations(circuit, "\n".join(numbers + said)).used)
    base = singles(circuit)
    return Bench(circuit, numbers, asked, seen, table(circuit, base, seen, solve_all(circuit, base, seen), 0))


def fails(t: Truths, k: int, whole: Table) -> set[int]:
    """The functions that fail on vehicle k and work on a sound one."""
    bad, well = t.shown.hypotheses[k].prediction.words, whole.hypotheses[0].prediction.words
    if bad is None or well is None:
        return set()
    return set(np.flatnonzero((bad[0] > np.log(0.5)) & (well[0] < np.log(0.5))).tolist())


def complaints(
    t: Truths, whole: Table, functions: int, rng: np.random.Generator
) -> Iterator[tuple[int, int]]:
    """Jobs as (function, vehicle): a function is asked about whatever is broken, and the vehicle is the next
    of those on which it fails; no vehicle comes twice. (The first function that fails on a drawn vehicle
    would tell more than is written down: that none before it does.)"""
    broken = [fails(t, k, whole) for k in range(len(t.causes))]
    by = {f: [k for k, mine in enumerate(broken) if f in mine] for f in range(functions)}
    some = [f for f, mine in by.items() if mine]
    judged_already: set[int] = set()
    while some:
        f = some[int(rng.integers(len(some)))]
        while by[f] and by[f][0] in judged_already:
            by[f].pop(0)
        if not by[f]:
            return
        judged_already.add(by[f][0])
        yield f, by[f][0]


def written(
    b: Bench, t: Truths, k: int, which: Sequence[int], rng: np.random.Generator, slips: float
) -> list[str]:
    """What is written down for the readings `which` on vehicle k."""
    p = t.shown.hypotheses[k].prediction
    assert p.cov is not None and p.others is not None
    pick = np.asarray(which, np.intp)
    cov = TOLERANCE**2 * p.cov[0][np.ix_(pick, pick)]
    meant = rng.multivariate_normal(p.mean[0, pick], cov, method="svd")
    out = []
    for j, m in zip(which, meant, strict=True):
        r = replace(b.whole.readings[j], span=(0.0, 16.0), sigma=METER.sigma(float(m)))
        v = value(r, float(m), p.others[0, j], rng, slips)
        out.append(b.numbers[j].replace("6 V", f"{v:.2f} V"))
    return out


def play(b: Bench, t: Truths, f: int, k: int, readings: int, rng: np.random.Generator) -> Judged:
    """One job on a sheet that is right: function f is said to fail on vehicle k."""
    which = b.telling(f, readings)
    lines = [f"{b.asked[f]} {ANSWERS[1]}", *written(b, t, k, which, rng, MISPROBE)]
    j = weigh(b.circuit, "\n".join(lines) + "\n", "auto", float("inf"))
    ids = frozenset(c.id for c in t.causes[k])
    sets = [frozenset(c.id for c in s.causes) for s in j.suspects]
    place: dict[frozenset[str], list[int]] = {}
    for h, mine in enumerate(sets):
        place.setdefault(mine, []).append(h)
    parts = {
        h: [x for part in (mine, *(frozenset((i,)) for i in mine)) for x in place.get(part, [])]
        for h, mine in enumerate(sets)
        if len(mine) > 1 or len(place[mine]) > 1
    }
    true = [h for h, mine in enumerate(sets) if mine and mine <= ids]
    groups = [" + ".join(c.group for c in j.suspects[h].causes) for h in true]
    return replace(judged(j.post, true, groups, parts), doubts_drawing=needs_two(j))


def contradictions(b: Bench, shown: Array, function: int) -> tuple[list[int], list[int]]:
    """Readings of a vehicle (`shown[n]`, volts) taken telling ones first, up to the last of the first four
    that contradict the sheet, and after how many readings each of those came. One does when no single cause
    of the sheet that gives the complaint gives it beside all readings before it: the misfit of the best one
    at its best severity (chi squared, tolerances shared) rises by that of four sigmas."""
    order, mean, root = b.alone(function)
    off = np.linalg.solve(root, (shown[list(order)] - mean)[:, :, None])[:, :, 0]
    best = (off**2).cumsum(axis=1).min(axis=0, initial=np.inf)  # by the readings up to each
    after: list[int] = []
    least = 0.0
    for n, now in enumerate(best.tolist(), start=1):
        if now - least > CONTRADICTS_SIGMAS**2:
            after.append(n)
        least = max(now, least)
        if len(after) == MOST_CONTRADICTING:
            return list(order[:n]), after
    return list(order), after


def contradicted(b: Bench, t: Truths, f: int, k: int, rng: np.random.Generator) -> tuple[bool, bool] | None:
    """On a wrong sheet, by the fourth reading that contradicts it: whether nothing fits at all, and whether
    that or no single cause does and the drawing is to be looked at first. None: fewer contradict."""
    taken, after = contradictions(b, t.shown.hypotheses[k].prediction.mean[0], f)
    if len(after) < MOST_CONTRADICTING:
        return None
    lines = [f"{b.asked[f]} {ANSWERS[1]}", *written(b, t, k, taken, rng, 0.0)]
    doubted = False
    for n in after:
        said = weigh(b.circuit, "\n".join(lines[: n + 1]) + "\n", "auto", float("inf"))
        if said.post.unexplained.is_so:
            return True, True
        doubted = doubted or needs_two(said)
    return False, doubted


def main(argv: Sequence[str]) -> int:
    """Draw, judge, print."""
    parser = argparse.ArgumentParser(description="calibration of suspects in a strange world")
    parser.add_argument("--jobs", type=int, default=200)
    parser.add_argument("--made", type=int, default=4, help="generated vehicles beside the demos")
    parser.add_argument("--truths", type=int, default=0, help="vehicles drawn a circuit (0: enough)")
    parser.add_argument("--circuits", nargs="*", default=(), help="only these")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--wrong", type=int, default=-1, help="wrong-sheet jobs a circuit (-1: one in ten)")
    asked = parser.parse_args(argv)
    sheets = {k: v for k, v in fleet(asked.made).items() if not asked.circuits or k in asked.circuits}
    names, rng = list(sheets), np.random.default_rng(asked.seed)
    each = -(-asked.jobs // len(sheets))
    odd_each = max(1, int(each * WRONG_SHEETS)) if asked.wrong < 0 else asked.wrong
    count = asked.truths or PER_JOB * each
    rows: list[Judged] = []
    doubles: list[Judged] = []
    said: list[tuple[bool, bool]] = []
    began = time.process_time()
    for n, (name, sheet) in enumerate(sheets.items()):
        dice = Random(f"{asked.seed}/{name}")
        b, other = bench(sheet, asked.seed), parse(sheets[names[n - 1]])
        t = truths(b.circuit, b.circuit, other, b.seen, count, dice)
        for i, (f, k) in enumerate(islice(complaints(t, b.whole, len(b.asked), rng), each)):
            got = play(b, t, f, k, 2 + i % 5, rng)
            rows.append(got)
            doubles += [got] if len(t.causes[k]) > 1 else []
        spent = time.process_time() - began
        wrong = rewired(sheet, b, dice) if odd_each else None
        if wrong is not None:
            odd = truths(b.circuit, wrong, other, b.seen, count, dice)
            drawn = islice(complaints(odd, b.whole, len(b.asked), rng), count)
            told = (contradicted(b, odd, f, k, rng) for f, k in drawn)
            said += list(islice((x for x in told if x is not None), odd_each))
        fits = sum(x for x, _ in said)
        of = f"on wrong sheets {fits} of {len(said)} after {time.process_time() - began:.0f} s"
        print(f"{name}: {len(rows)} jobs after {spent:.0f} s, {of}; {line('so far', rows)}", flush=True)
    if rows:
        print(line("strange", rows))
    if doubles:
        print(line("  doubles", doubles))
    share = np.mean(said or [(False, False)], axis=0)
    print(
        f"wrong sheets: nothing fits said in {share[0]:.0%}, that or to look at the drawing first in "
        f"{share[1]:.0%} of {len(said)} within {MOST_CONTRADICTING} contradicting readings; "
        f"{time.process_time() - began:.0f} s of one core"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
