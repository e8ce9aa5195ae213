"""Two faults at once: which pairs may explain the readings, and their lanes, kept for the next reading.

A pair is hoped for by what it could explain at best: every reading by whichever of the two explains it
better, each at its own best severity. What two faults do together that neither does alone (one hides the
other, or both hinder one current) is what the best single faults beside every other one are tried for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Hypothesis, Posterior, Table, posterior
from amptrail.circuit.model import Circuit
from amptrail.jobs.base.kept import Kept
from amptrail.jobs.evidence.predict import Evidence, Suspect, double, table
from amptrail.jobs.evidence.renewed import as_told, new_by, touched
from amptrail.jobs.solved import engine
from amptrail.jobs.solved.observe import Conditions
from amptrail.solve.network import SPARE

Array = NDArray[np.float64]
FIRST_LANES = 3_000  # on the pairs hoped for most (about 0.3 s on two cores the first time)
MOST_LANES = 12_000  # on all of them
POOL_LANES = 12_000  # lanes of pairs kept of one circuit
TELLING_SIGMAS = 1.0  # a fault that moves a reading by more is active (NUMERICS, Doubles)
TELLING_NATS = 0.5  # the same for a word
BEST_SINGLES = 12
# A pair that at its very best explains less than what was found by so much is left out. At 4, four of 15
# jobs lost up to all of their first ten: two faults may read many nats better together than each at its best.
WORTH_NATS = 8.0
FITS_P = 0.05  # readings this likely by chance under what is believed are explained
USED_LEAST = 0.25  # of a batch of kept lanes; one used less is solved anew, smaller
BRIDGES = {"to_ground": 1, "to_supply": 1, "to_point": 1, "swapped": 2}  # as faults.overlay makes them


def bridges(s: Suspect) -> int:
    """How many branches these causes add to a lane."""
    return sum(BRIDGES.get(f.mode, 0) for c in s.causes for f in c.faults)


def explained(
    circuit: Circuit, base: Sequence[Suspect], only: Table, alone: Posterior, everything: bool,
    seen: Evidence, t: Table,
) -> tuple[Table, tuple[Suspect, ...]]:  # fmt: skip
    """The table `t` with the pairs of `base` that could explain the readings, and those pairs. `only` and
    `alone` are the table of `base` and what is believed of it. `everything`: all pairs of active faults."""
    hoped = _hoped(base, only, alone)
    if everything:
        pairs = [s for _, s in _some(hoped, -np.inf, np.inf)[0]]
        return replace(t, hypotheses=t.hypotheses + predicted(circuit, pairs, seen)), tuple(pairs)
    sets = len({o.conditions.as_told for o in seen.all})  # each set of conditions is solved by itself
    tried, last = _some(hoped, -np.inf, FIRST_LANES / sets)
    pairs = [s for _, s in tried]
    found = predicted(circuit, pairs, seen)
    if last is not None:  # more are hoped for: how much, beside what has been found?
        best = posterior(replace(only, hypotheses=only.hypotheses + found))
        there = float(np.logaddexp.reduce(_log_prior((*base, *pairs)) + best.log_evidence))
        spent = sum(len(s.rows) for s in pairs)
        fits = best.doubtful is None and best.unexplained.p_value >= FITS_P
        real = _log_prior(pairs) + best.log_evidence[len(base) :]
        # what two faults do only together is not hoped for; where some did, others may
        more_than_hoped = float(np.max(real - [hope for hope, _ in tried], initial=0.0))
        least = there - WORTH_NATS - more_than_hoped if fits else -np.inf
        more = [s for _, s in _some(chain((last,), hoped), least, MOST_LANES / sets - spent)[0]]
        pairs, found = pairs + more, found + predicted(circuit, more, seen)
    return replace(t, hypotheses=t.hypotheses + found), tuple(pairs)


def _log_prior(some: Sequence[Suspect]) -> Array:
    with np.errstate(divide="ignore"):
        return np.log([s.prior for s in some])


Hoped = tuple[float, Suspect]


def _hoped(base: Sequence[Suspect], t: Table, post: Posterior) -> Iterator[Hoped]:
    """Pairs of `base` (the table's hypotheses) with what they explain at best, most hopeful first."""
    live = _active(t)
    live[0] = False
    best = [i for i in post.ranking() if i != 0][:BEST_SINGLES]
    wanted = live[:, None] & live[None, :]
    wanted[best, :] = wanted[:, best] = True
    wanted[0, :] = wanted[:, 0] = False
    first, second = np.nonzero(np.triu(wanted, 1))
    log_prior, alone = _log_prior(base), _at_best(t)
    hope = log_prior[first] + log_prior[second] + np.maximum(alone[first], alone[second]).sum(axis=1)
    for k in np.argsort(-hope, kind="stable"):
        a, b = base[int(first[k])], base[int(second[k])]
        if _ats(a) & _ats(b):
            continue
        pair = double(a.causes[0], b.causes[0])
        if bridges(pair) <= SPARE:  # water in a plug beside two crossed pins: more than one vehicle can hold
            yield float(hope[k]), pair


def _some(hoped: Iterator[Hoped], least: float, lanes: float) -> tuple[list[Hoped], Hoped | None]:
    """The next pairs that hope for `least` or more, within `lanes`; the first that was left over."""
    out: list[Hoped] = []
    for hope, pair in hoped:
        lanes -= len(pair.rows)
        if hope < least or lanes < 0:
            return out, (hope, pair) if hope >= least else None
        out.append((hope, pair))
    return out, None


def _ats(s: Suspect) -> set[str]:
    return {str(f.at) for c in s.causes for f in c.faults}


def _active(t: Table) -> NDArray[np.bool_]:
    """Which hypotheses move a reading by more than its spread, or a word, at any severity."""
    healthy = t.hypotheses[0].prediction
    sigma = np.asarray([r.sigma for r in t.readings])
    out = []
    for h in t.hypotheses:
        p = h.prediction
        spread = sigma if p.cov is None else np.sqrt(sigma**2 + np.einsum("gii->gi", p.cov))
        moved = bool((np.abs(p.mean - healthy.mean[0]) > TELLING_SIGMAS * spread).any())
        if p.words is not None and healthy.words is not None and not moved:
            moved = bool((np.abs(p.words - healthy.words[0]) > TELLING_NATS).any())
        out.append(moved)
    return np.asarray(out, bool)


def _at_best(t: Table) -> Array:
    """[hypothesis, reading then word] log-likelihood of each by itself at the severity that explains it best,
    a slip included."""
    value = np.asarray([r.value for r in t.readings])
    own = np.asarray([r.sigma**2 + r.spread**2 / 3 for r in t.readings])
    slip = np.asarray([r.misprobe / r.width for r in t.readings])
    wrong = np.asarray([w.misprobe * w.wrong_likelihood for w in t.words])
    out = np.zeros((len(t.hypotheses), len(t.readings) + len(t.words)))
    for i, h in enumerate(t.hypotheses):
        p = h.prediction
        var = own + (0.0 if p.cov is None else np.einsum("gii->gi", p.cov))
        density = np.exp(-0.5 * (value - p.mean) ** 2 / var) / np.sqrt(2 * np.pi * var)
        out[i, : len(value)] = np.log(density + slip + 1e-30).max(axis=0)
        if len(wrong) and p.words is not None:
            out[i, len(value) :] = np.log(np.exp(p.words) + wrong + 1e-30).max(axis=0)
    return out


# ---- their lanes ------------------------------------------------------------------------------------
@dataclass(frozen=True, eq=False)
class _Batch:
    """Pairs solved together, once for every set of standing conditions asked so far."""

    pairs: tuple[Suspect, ...]
    solved: dict[Conditions, engine.Solved] = field(default_factory=dict)

    @property
    def lanes(self) -> int:
        return sum(len(s.rows) for s in self.pairs) * max(1, len(self.solved))


POOL: Kept[list[_Batch]] = Kept(2, lambda _: 1)  # circuits; some 200 MB each


def predicted(circuit: Circuit, wanted: Sequence[Suspect], seen: Evidence) -> tuple[Hypothesis, ...]:
    """The hypotheses of these pairs beside the readings; lanes of earlier readings serve again."""
    if not wanted:
        return ()
    if new := new_by(seen):  # what no new part has changed is as it was, before and after
        index = touched(wanted, new)
        there = set(index)
        rest = [i for i in range(len(wanted)) if i not in there]
        got = dict(zip(rest, predicted(circuit, [wanted[i] for i in rest], as_told(seen)), strict=True))
        got |= zip(index, _predicted(circuit, [wanted[i] for i in index], seen), strict=True)
        return tuple(got[i] for i in range(len(wanted)))
    return _predicted(circuit, wanted, seen)


def _predicted(circuit: Circuit, wanted: Sequence[Suspect], seen: Evidence) -> tuple[Hypothesis, ...]:
    if not wanted:
        return ()
    known = [b for b in POOL.get(circuit) or [] if not 0 < _used(b, wanted) < USED_LEAST]
    there = {s.key for b in known for s in b.pairs}
    new = tuple(s for s in wanted if s.key not in there)
    batches = [*known, _Batch(new)] if new else known
    found: dict[str, Hypothesis] = {}
    asked = {s.key for s in wanted}
    for b in batches:
        if not any(s.key in asked for s in b.pairs):
            continue
        rows = [r for s in b.pairs for r in s.rows]
        conditions = list(dict.fromkeys(o.conditions for o in seen.all)) or [Conditions()]
        for c in conditions:
            if c not in b.solved:
                b.solved[c] = engine.solved(circuit, rows, c, keep=False)
        t = table(circuit, b.pairs, seen, {c: b.solved[c] for c in conditions}, None)
        found |= {h.key: h for h in t.hypotheses}
    while len(batches) > 1 and sum(b.lanes for b in batches) > POOL_LANES:
        batches.pop(0)
    if sum(b.lanes for b in batches) > POOL_LANES:  # of one batch, what was solved for other conditions goes
        now = {o.conditions for o in seen.all}
        for c in [c for c in batches[0].solved if c not in now]:
            del batches[0].solved[c]
    POOL.replace(circuit, batches)
    # the lanes serve again; how likely a pair is beforehand is as asked now
    return tuple(replace(found[s.key], prior=s.prior) for s in wanted)


def _used(b: _Batch, wanted: Sequence[Suspect]) -> float:
    asked = {s.key for s in wanted}
    return sum(s.key in asked for s in b.pairs) / len(b.pairs)
