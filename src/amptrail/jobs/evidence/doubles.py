"""Two faults at once: which pairs may explain the readings, and their lanes, kept for the next reading.

Every pair is hoped for by a first look (`hopes`); lanes are spent on those that hope for most a lane, batch
after batch, until what is found explains the readings and a batch no longer adds to it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Hypothesis, Posterior, Table, log_evidence, posterior
from amptrail.circuit.model import Circuit
from amptrail.jobs.base.kept import Kept
from amptrail.jobs.evidence.hopes import hopes, most_hoped
from amptrail.jobs.evidence.predict import DOUBLE_POINTS, Evidence, Suspect, double, table
from amptrail.jobs.evidence.renewed import as_told, new_by, touched
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.predicted import Solved
from amptrail.solve.network import SPARE

Array = NDArray[np.float64]
BATCH_LANES = 1_500  # of pairs tried at once (about 0.15 s on two cores the first time)
MOST_LANES = 12_000  # of all of them
POOL_LANES = 12_000  # lanes of pairs kept of one circuit
FITS_P = 0.05  # readings this likely by chance under what is believed are explained
ADDS_LEAST = 0.01  # a batch that is believed less adds nothing
IDLE_MOST = 2  # batches that add nothing, while a reading is still doubted
PROMISING = 1.0  # a pair hoped to be as likely as all single causes together is looked for
NO_SAY = 1e-5  # belief that the pairs left out of the answer may have together
FEW = 8  # causes that give a table its order of readings
USED_LEAST = 0.25  # of a batch of kept lanes; one used less is solved anew, smaller
BRIDGES = {"to_ground": 1, "to_supply": 1, "to_point": 1, "swapped": 2}  # as faults.overlay makes them


def bridges(s: Suspect) -> int:
    """How many branches these causes add to a lane."""
    return sum(BRIDGES.get(f.mode, 0) for c in s.causes for f in c.faults)


@dataclass(frozen=True, eq=False)
class Explained:
    """The table with the pairs that have a say, those pairs in its order, and how many were weighed."""

    table: Table
    pairs: tuple[Suspect, ...]
    weighed: int


def explained(
    circuit: Circuit, base: Sequence[Suspect], only: Table, alone: Posterior, everything: bool,
    seen: Evidence, t: Table,
) -> Explained:  # fmt: skip
    """The table `t` with the pairs of `base` that could explain the readings. `only` and `alone` are the
    table of `base` and what is believed of it. `everything`: all pairs of active faults, all kept."""
    hoped = _hoped(base, hopes(circuit, base, only, alone, seen))
    if everything:
        pairs = tuple(hoped)
        return Explained(_with(t, predicted(circuit, pairs, seen)), pairs, len(pairs))
    sets = len({o.conditions.as_told for o in seen.all})  # each set of conditions is solved by itself
    tried, found = list[Suspect](), tuple[Hypothesis, ...]()
    there, idle = _mass(base, alone.log_evidence), 0
    now: Posterior | None = None  # what is believed of all found so far, where it has been asked
    for _ in range(MOST_LANES // BATCH_LANES):
        more = _some(hoped, BATCH_LANES / sets)
        if not more:
            break
        new = predicted(circuit, more, seen)
        tried, found = tried + more, found + new
        beside = replace(only, hypotheses=(*only.hypotheses[:FEW], *new))
        mass = _mass(more, log_evidence(beside)[-len(new) :])
        there = float(np.logaddexp(there, mass))
        idle = idle + 1 if mass - there < np.log(ADDS_LEAST) else 0
        now = posterior(_with(t, found)) if 0 < idle <= IDLE_MOST else None
        if now is not None and _fits(now, idle):
            break
    now = now or posterior(_with(t, found))
    kept = _with_a_say(now.probability[len(t.hypotheses) :])
    return Explained(_with(t, [found[k] for k in kept]), tuple(tried[k] for k in kept), len(tried))


def promising(base: Sequence[Suspect], only: Table, alone: Posterior) -> bool:
    """Whether a pair may be believed although single causes explain: they do by a slip or two, and two faults
    would not need them. `only`, `alone`: the table of `base` and what is believed of it."""
    return most_hoped(base, only) > _mass(base, alone.log_evidence) + math.log(PROMISING)


def _with(t: Table, pairs: Sequence[Hypothesis]) -> Table:
    return replace(t, hypotheses=(*t.hypotheses, *pairs))


def _mass(some: Sequence[Suspect], log_evidence: Array) -> float:
    """Natural log of prior times P(readings), all of them together."""
    with np.errstate(divide="ignore"):
        return float(np.logaddexp.reduce(np.log([s.prior for s in some]) + log_evidence))


def _fits(now: Posterior, idle: int) -> bool:
    """Whether more pairs are not worth their lanes after so many batches that added nothing."""
    return now.unexplained.p_value >= FITS_P and (now.doubtful is None or idle == IDLE_MOST)


def _with_a_say(probability: Array) -> list[int]:
    """The pairs that are believed, in their order: what is left out adds up to NO_SAY."""
    order = np.argsort(probability, kind="stable")
    return sorted(order[np.cumsum(probability[order]) > NO_SAY].tolist())


def _hoped(base: Sequence[Suspect], hope: Array) -> Iterator[Suspect]:
    """Pairs of `base` by what they explain at best, the most hopeful a lane first."""
    first, second = np.nonzero(np.triu(np.isfinite(hope), 1))
    with np.errstate(divide="ignore"):
        log_prior = np.log([s.prior for s in base])
    rows = np.log([min(DOUBLE_POINTS, len(s.rows)) for s in base])
    own = log_prior - rows
    worth = hope[first, second] + own[first] + own[second]
    for k in np.argsort(-worth, kind="stable"):
        a, b = base[int(first[k])], base[int(second[k])]
        if _ats(a) & _ats(b):
            continue
        pair = double(a.causes[0], b.causes[0])
        if bridges(pair) <= SPARE:  # water in a plug beside two crossed pins: more than one vehicle can hold
            yield pair


def _some(hoped: Iterator[Suspect], lanes: float) -> list[Suspect]:
    """The next pairs, of `lanes` lanes or a few more."""
    out: list[Suspect] = []
    while lanes > 0 and (pair := next(hoped, None)) is not None:
        lanes -= len(pair.rows)
        out.append(pair)
    return out


def _ats(s: Suspect) -> set[str]:
    return {str(f.at) for c in s.causes for f in c.faults}


# ---- their lanes ------------------------------------------------------------------------------------
@dataclass(frozen=True, eq=False)
class _Batch:
    """Pairs solved together, once for every set of standing conditions asked so far."""

    pairs: tuple[Suspect, ...]
    solved: dict[Conditions, Solved] = field(default_factory=dict)

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
                b.solved[c] = solving.solved(circuit, rows, c, keep=False)
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
