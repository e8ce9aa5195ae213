"""From a table to what we now believe: probabilities, severities, doubts. Sums to one, never NaN."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from amptrail.belief.beside import spoiled_evidence, undrawn_evidence
from amptrail.belief.chance import chi2_tail
from amptrail.belief.rows import Scored, Scores, evidence_without, score
from amptrail.belief.tables import Array, Table, check
from amptrail.errors import one

BELIEVED = 1e-4  # explanations below this have no say in how well the readings are explained
UNDRAWN_ABOVE = 0.5  # likelier not as drawn than any cause of the list
LEAST_SLIP = 1e-6  # a reading that cannot be wrong
UNEXPLAINED_BELOW = 0.01  # common practice: one job in a hundred looks this bad by chance


@dataclass(frozen=True)
class Severity:
    """Estimated resistance in ohm: median and the 5 … 95 % interval. `other`: same for a second fault."""

    ohm: float
    low: float
    high: float
    other: Severity | None = None


@dataclass(frozen=True, eq=False)
class Severities:
    """The severity of each hypothesis, worked out when asked for; None for a discrete one."""

    scores: Scores
    inside: Array

    def __len__(self) -> int:
        return len(self.scores)

    def __getitem__(self, h: int) -> Severity | None:
        return _severity(self.scores[h], self.inside[self.scores.layout.rows(h)])


@dataclass(frozen=True)
class Doubt:
    """A reading (index into readings, or words when `is_word`) that is probably not what its line says."""

    index: int
    is_word: bool
    line: int
    probability: float


@dataclass(frozen=True)
class Unexplained:
    """`p_value`: chance of a worse fit than this if the believed explanations were true."""

    is_so: bool
    p_value: float
    worst_line: int


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the readings leave. Arrays follow `Table.hypotheses`, readings and words in the order given.
    `probability`, `undrawn` (the vehicle is not as drawn) and `spoiled` (each instrument that may be wrong)
    add up to one."""

    table: Table
    probability: Array
    log_evidence: Array
    evidence_nats: float
    severity: Severities
    reading_wrong: Array
    word_wrong: Array
    doubtful: Doubt | None
    unexplained: Unexplained
    nothing_broken: float
    scored: Scores
    undrawn: float = 0.0
    spoiled: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def nbytes(self) -> int:
        """About the memory it holds, in bytes: predictions, and rows twice (each one's, and all)."""
        at, n = self.scored.layout, self.scored.numbers
        rows = (at.mean, at.cov, at.others, at.words, n.wrong, n.z, n.alone, self.scored.words)
        told = (h.prediction for h in self.table.hypotheses)
        tables = (a for p in told for a in (p.mean, p.cov, p.others, p.words))
        return 2 * sum(a.nbytes for a in rows if a is not None) + sum(
            a.nbytes for a in tables if a is not None
        )

    def ranking(self) -> list[int]:
        """Hypotheses from most to least probable (ties in table order)."""
        return [int(i) for i in np.argsort(-self.probability, kind="stable")]

    def groups(self) -> dict[str, float]:
        """Probability by repair group (a hypothesis without one stands alone)."""
        out: dict[str, float] = {}
        for h, p in zip(self.table.hypotheses, self.probability, strict=True):
            out[h.group or h.key] = out.get(h.group or h.key, 0.0) + float(p)
        return out


def log_evidence(table: Table) -> Array:
    """Natural log of P(readings) under each hypothesis; what `posterior` of any larger table has for it."""
    return score(table).evidence()


def posterior(table: Table) -> Posterior:
    """Weigh every hypothesis by every reading. Raises InputError for evidence that nothing allows."""
    check(table)
    scores = score(table)
    evidence = scores.evidence()
    beside = Beside(table)
    probability, others, total = beside.shares(evidence)
    left = max(float(probability.sum()), 1e-300)
    inside = _within(scores, evidence)
    share = (probability / left)[scores.layout.owner] * inside
    reading_wrong, word_wrong = share @ scores.numbers.wrong, share @ scores.word_wrong
    return Posterior(
        table,
        probability,
        evidence,
        total,
        Severities(scores, inside),
        reading_wrong,
        word_wrong,
        _doubt(table, reading_wrong, word_wrong),
        _unexplained(table, probability / left, inside, scores, others),
        0.0 if table.healthy is None else float(probability[table.healthy]),
        scores,
        float(others[0]),
        others[1:],
    )


class Beside:
    """The causes of a table beside "not as drawn" and instruments that may be wrong, as one distribution."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.prior = np.asarray([h.prior for h in table.hypotheses], float)
        usable = self.prior.sum() > 0
        self.undrawn, self.undrawn_without = 0.0, np.zeros(len(table.readings) + len(table.words))
        if table.undrawn > 0 and usable:
            self.undrawn, self.undrawn_without = undrawn_evidence(table, self.prior)
        self.spoiled = spoiled_evidence(table, self.prior) if usable else []

    def shares(self, evidence: Array, without: int | None = None) -> tuple[Array, Array, float]:
        """(probability of each cause, [not as drawn, each instrument], log-evidence of everything).
        `without`: a reading left out (words after numbers); instruments are not weighed anew then."""
        t = self.table
        strange = self.undrawn if without is None else float(self.undrawn_without[without])
        extra = [t.undrawn, *(s.prior for s in t.spoilers)] if without is None else [t.undrawn]
        room = 1.0 - sum(extra)
        if not self.prior.sum() > 0:
            return normalise(self.prior.tolist(), evidence)[0], np.zeros(len(extra)), 0.0
        logs = [strange, *self.spoiled][: len(extra)]
        both, total = normalise(
            [*(room * self.prior / self.prior.sum()), *extra], np.concatenate([evidence, logs])
        )
        return both[: len(evidence)], both[len(evidence) :], total


def normalise(prior: list[float], log_evidence: Array) -> tuple[Array, float]:
    """Probabilities from priors (any scale) and log-evidence, and the log-evidence of the whole list."""
    p = np.asarray(prior, float)
    if not len(p) or not p.sum() > 0:
        raise one("no-prior", "no hypothesis has a prior above zero")
    with np.errstate(divide="ignore"):
        joint = np.log(p / p.sum()) + log_evidence
    top = joint.max()
    if not np.isfinite(top):
        raise one(
            "impossible-evidence",
            "these readings cannot all be true",
            remedy="check the last reading, or let one of them be doubtful",
        )
    share = np.exp(joint - top)
    return share / share.sum(), float(top + np.log(share.sum()))


def _within(s: Scores, evidence: Array) -> Array:
    """Weight of each row within its hypothesis; as beforehand where the evidence allows none of them."""
    owner = s.layout.owner
    possible = np.isfinite(evidence)[owner]
    with np.errstate(invalid="ignore"):
        after = s.layout.log_weight + s.log_likelihood - evidence[owner]
    return np.exp(np.where(possible, after, s.layout.log_weight))


def _severity(s: Scored, weight: Array) -> Severity | None:
    parts = s.cells.axis_cells
    if not parts:
        return None
    # within a row nothing read tells its cells apart: they share its weight as they did beforehand
    inside = np.exp(s.cells.log_weight - s.log_weight[s.row_of])
    mass = (weight[s.row_of] * inside).reshape([len(low) for low, _, _ in parts])
    out: Severity | None = None
    for axis in reversed(range(len(parts))):
        low, high, _ = parts[axis]
        along = mass.sum(axis=tuple(a for a in range(len(parts)) if a != axis))
        q = _quantiles(low, high, along)
        out = Severity(q[1], q[0], q[2], out)
    return out


def _quantiles(low: Array, high: Array, mass: Array) -> list[float]:
    edges = np.concatenate([low[:1], high])
    rise = np.concatenate([[0.0], np.cumsum(mass)]) + np.arange(len(edges)) * 1e-15  # strictly rising
    return [float(10.0 ** np.interp(q, rise / rise[-1], edges)) for q in (0.05, 0.5, 0.95)]


def _doubt(table: Table, readings: Array, words: Array) -> Doubt | None:
    """The reading that, if wrong, would explain most: far likelier to be wrong now than before."""
    found = [Doubt(i, False, r.line, float(readings[i])) for i, r in enumerate(table.readings)]
    found += [Doubt(i, True, w.line, float(words[i])) for i, w in enumerate(table.words)]
    before = [r.misprobe for r in table.readings] + [w.misprobe for w in table.words]
    raised = [d for d, b in zip(found, before, strict=True) if d.probability > max(0.3, 2 * b)]
    return max(raised, key=lambda d: d.probability, default=None)


def _unexplained(table: Table, probability: Array, inside: Array, s: Scores, others: Array) -> Unexplained:
    """Averaged over what is believed: tail of the misfit of all readings. One that is probably wrong counts
    by how rarely one is, not by how far off it is: among four readings a slip is nothing unusual.
    `others`: chance of "not as drawn", which explains nothing, and of instruments that explain all."""
    m, w = len(table.readings), len(table.words)
    if not m + w:
        return Unexplained(False, 1.0, 0)
    # a word scores by how surprising it is; two degrees each, as for a uniform p-value
    words, z2 = -2 * s.words, s.numbers.z**2
    right = np.maximum(s.numbers.chi2 - (s.numbers.wrong * z2).sum(axis=1), 0.0)
    misfit = inside * (right + _slips(table, s.numbers.wrong) + words.sum(axis=1))
    of = np.add.reduceat(misfit, s.layout.first[:-1])
    believed = np.flatnonzero(probability >= BELIEVED)
    p_value = sum(float(probability[h]) * chi2_tail(float(of[h]), m + 2 * w) for h in believed)
    off = (probability[s.layout.owner] * inside) @ np.concatenate([z2, words], axis=1)
    lines = [r.line for r in table.readings] + [x.line for x in table.words]
    p_value = min(p_value * (1 - float(others.sum())) + float(others[1:].sum()), 1.0)
    is_so = p_value < UNEXPLAINED_BELOW or float(others[0]) > UNDRAWN_ABOVE
    return Unexplained(is_so, p_value, lines[int(off.argmax())])


def _slips(table: Table, wrong: Array) -> Array:
    """What the probably wrong readings of each row count: minus twice the log of how often one is, a run that
    shares a bad reference lead but once."""
    share = np.asarray([max(r.misprobe, LEAST_SLIP) for r in table.readings])
    each = wrong * (-2 * np.log(share))
    total = np.asarray(each.sum(axis=1), np.float64)
    for run in {r.run for r in table.readings if r.run}:
        mine = [i for i, r in enumerate(table.readings) if r.run == run]
        once = -2 * np.log(table.spoiled_run) if table.spoiled_run > 0 else np.inf
        total -= np.maximum(each[:, mine].sum(axis=1) - once, 0.0)
    return total


@dataclass(frozen=True, eq=False)
class Contribution:
    """What one reading did: `without[h]` probabilities had it not been taken, `nats[h]` its log-weight for
    each hypothesis given all others, `ruled_out`: hypotheses it took from above 1 % to a tenth or less."""

    line: int
    without: Array
    nats: Array
    ruled_out: tuple[int, ...]


@lru_cache(maxsize=2)
def contributions(full: Posterior) -> tuple[Contribution, ...]:
    """Leave each reading (then each word) out in turn: the posterior of the smaller table each time."""
    t = full.table
    lines = [r.line for r in t.readings] + [w.line for w in t.words]
    beside = Beside(t)
    out = []
    for k, (line, evidence) in enumerate(zip(lines, np.concatenate(evidence_without(t)), strict=True)):
        before, _, _ = beside.shares(evidence, k)
        gone = (before > 0.01) & (full.probability < 0.1 * before)
        nats = full.log_evidence - evidence
        out.append(Contribution(line, before, nats, tuple(int(i) for i in np.flatnonzero(gone))))
    return tuple(out)
