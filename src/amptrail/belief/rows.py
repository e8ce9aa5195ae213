"""Log-likelihood of every row of every hypothesis: numbers, words, spoiled runs, faults that come and go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from weakref import WeakKeyDictionary

import numpy as np

from amptrail.belief.grids import Cells
from amptrail.belief.layout import Layout, lay
from amptrail.belief.likelihood import Rows, apart, exactly, hopeless_nats, weigh, wrong_density
from amptrail.belief.tables import Array, Hypothesis, Reading, Table, Whole


@dataclass(frozen=True, eq=False)
class Scored:
    """One hypothesis over its rows (one or several neighbouring cells each: `row_of[cell]`): prior mass and
    log-likelihood [n], and per row the reading diagnostics."""

    cells: Cells
    row_of: Whole
    log_weight: Array
    log_likelihood: Array
    numbers: Rows
    words: Array
    word_wrong: Array


@dataclass(frozen=True, eq=False)
class Scores:
    """Every hypothesis of a table: `log_likelihood[n]` and the diagnostics of all rows; `[h]` is one of them.
    Readings are in the order of the table."""

    layout: Layout
    log_likelihood: Array
    numbers: Rows
    words: Array
    word_wrong: Array

    def __len__(self) -> int:
        return len(self.layout.cells)

    def __getitem__(self, h: int) -> Scored:
        if not 0 <= h < len(self):
            raise IndexError(h)
        s, at = self.layout.rows(h), self.layout
        return Scored(
            at.cells[h], at.row_of[h], at.log_weight[s], self.log_likelihood[s], self.numbers.part(s),
            self.words[s], self.word_wrong[s],
        )  # fmt: skip

    def __iter__(self) -> Iterator[Scored]:
        return (self[h] for h in range(len(self)))

    def evidence(self) -> Array:
        """Natural log of P(readings) under each hypothesis."""
        return _evidence(self.layout, self.log_likelihood)


def _evidence(at: Layout, log_l: Array) -> Array:
    return np.asarray(np.logaddexp.reduceat(at.log_weight + log_l, at.first[:-1]), np.float64)


@dataclass(frozen=True, eq=False)
class _Dense:
    """Rows beside the values read: residuals, whole covariance, density of a wrong reading."""

    residual: Array
    cov: Array
    bad: Array
    words: Array

    def part(self, rows: slice) -> _Dense:
        """Some rows only."""
        return _Dense(self.residual[rows], self.cov[rows], self.bad[rows], self.words[rows])

    def less(self, readings: list[int] | None, words: list[int] | None) -> _Dense:
        """Some readings and words only (None: all)."""
        r = slice(None) if readings is None else np.asarray(readings, np.intp)
        w = slice(None) if words is None else np.asarray(words, np.intp)
        cov = self.cov[:, r][:, :, r]
        return _Dense(self.residual[:, r], cov, self.bad[:, r], self.words[:, w])


@dataclass(frozen=True, eq=False)
class Laid:
    """A table with its readings in one canonical order (`order`: their numbers in the table given), its rows,
    and the first row of nothing broken (`well`), if there is such a hypothesis."""

    order: Whole
    table: Table
    layout: Layout
    rows: _Dense
    well: _Dense | None

    @cached_property
    def log_prior(self) -> Array:
        """Of every row: two faults that are rarer than their readings are wrong need no care."""
        with np.errstate(divide="ignore"):
            each = np.log([h.prior for h in self.table.hypotheses])
        return np.asarray(each[self.layout.owner] + self.layout.log_weight, np.float64)

    @cached_property
    def main(self) -> Rows:
        """Every row weighed by all numeric readings."""
        return _main(self)


@lru_cache(maxsize=2)
def laid(table: Table) -> Laid:
    """Worked out once for weighing a table and for leaving its readings out."""
    order = np.asarray(sorted(range(len(table.readings)), key=lambda i: _rank(table, i)), np.int64)
    whole = replace(table, readings=tuple(table.readings[i] for i in order))
    sigma = tuple(float(np.hypot(r.sigma, r.spread / 3**0.5)) for r in table.readings)
    layout = lay(table.hypotheses, sigma, len(table.words))
    rows = _dense(whole.readings, layout, order)
    well = None if table.healthy is None else rows.part(layout.rows(table.healthy))
    return Laid(order, whole, layout, rows, well)


@dataclass(frozen=True, eq=False)
class _Known:
    """The rows of a hypothesis weighed by `readings`, exactly where a rough look gave more than `above` (the
    prior counted in)."""

    readings: tuple[Reading, ...]
    above: float
    rows: Rows


# Of the hypotheses alive, by the readings last asked about: a table that grows weighs what is new in it.
_KNOWN: WeakKeyDictionary[Hypothesis, _Known] = WeakKeyDictionary()


def _main(got: Laid) -> Rows:
    """All numeric readings, each wrong by itself or not; steady faults."""
    readings, d = got.table.readings, got.rows
    rough = apart(readings, d.residual, d.cov, d.bad)
    joint = rough.log_likelihood + got.log_prior
    above = float(joint.max(initial=-np.inf)) - hopeless_nats(len(readings))
    near = joint > above
    new: list[int] = []
    for h, x in enumerate(got.table.hypotheses):
        k = _KNOWN.get(x)
        if k is not None and k.above <= above and k.readings == readings:
            near[got.layout.rows(h)] = False
        else:
            new.append(h)
    out = exactly(readings, d.residual, d.cov, d.bad, rough, np.flatnonzero(near))
    fresh = set(new)
    for h, x in enumerate(got.table.hypotheses):
        s = got.layout.rows(h)
        if h in fresh:
            _KNOWN[x] = _Known(readings, above, out.part(s).copy())  # its own: not all the others with it
        else:
            out.put(s, _KNOWN[x].rows)
    return out


def score(table: Table) -> Scores:
    """Every hypothesis of the table. Readings are taken in one canonical order inside, so the order in which
    they were given changes nothing."""
    got = laid(table)
    t, d, at = got.table, got.rows, got.layout
    numbers = _spoiled_runs(t, d, got.main)
    words, word_wrong = _words(t, d.words)
    total = numbers.log_likelihood + words.sum(axis=1)
    come_and_go = [h for h, x in enumerate(table.hypotheses) if x.showing < 1]
    if come_and_go:
        numbers, words, word_wrong = numbers.copy(), words.copy(), word_wrong.copy()
        for h in come_and_go:
            s = at.rows(h)
            total[s] = _intermittent(t, table.hypotheses[h], d.part(s), got.well)
            mine, words[s], word_wrong[s] = _better_state(got, numbers.part(s), words[s], word_wrong[s])
            numbers.put(s, mine)
    return Scores(at, total, numbers.turned(np.argsort(got.order)), words, word_wrong)


def evidence_without(table: Table) -> tuple[Array, Array]:
    """Log-evidence of every hypothesis with one reading left out [reading, hypothesis], and with one word
    left out [word, hypothesis]: what `score` of the smaller table gives, the predictions worked out once."""
    got = laid(table)
    m, w = len(table.readings), len(table.words)
    numbers, words = np.zeros((m, len(table.hypotheses))), np.zeros((w, len(table.hypotheses)))
    for j in range(m):
        rest = [i for i in range(m) if i != j]
        numbers[got.order[j]] = evidence_of(got, rest, list(range(w)), _without(got, j))
    whole = _spoiled_runs(got.table, got.rows, got.main).log_likelihood
    for j in range(w):
        words[j] = evidence_of(got, list(range(m)), [i for i in range(w) if i != j], whole)
    return numbers, words


def _without(got: Laid, j: int) -> Array | None:
    """Log-likelihood of every row by all numeric readings but one, or None where it is to be worked out anew.

    A reading that is wrong says nothing: P(all, j wrong) = P(all others) P(j wrong) p(value | wrong), and the
    share of j wrong among all that may have been is known already.
    """
    share = got.table.readings[j].misprobe
    if not share or _runs(got.table.readings):
        return None
    with np.errstate(divide="ignore"):
        wrong = np.log(got.main.wrong[:, j])
    return np.asarray(got.main.log_likelihood + wrong - np.log(share) - got.rows.bad[:, j], np.float64)


def evidence_of(got: Laid, readings: list[int], words: list[int], numbers: Array | None = None) -> Array:
    """Log-evidence of each hypothesis by these readings (numbered in the canonical order) and words alone.
    `numbers`: log-likelihood of every row by these readings, where it is known, of steady faults."""
    t = got.table
    fewer = replace(
        t, readings=tuple(t.readings[i] for i in readings), words=tuple(t.words[i] for i in words)
    )
    d = got.rows.less(readings, words)
    well = None if got.well is None else got.well.less(readings, words)
    if numbers is None:
        main = weigh(fewer.readings, d.residual, d.cov, d.bad, got.log_prior)
        numbers = _spoiled_runs(fewer, d, main).log_likelihood
    log_l = numbers + _words(fewer, d.words)[0].sum(axis=1)
    for h, x in enumerate(t.hypotheses):
        if x.showing < 1:
            s = got.layout.rows(h)
            log_l[s] = _intermittent(fewer, x, d.part(s), well)
    return _evidence(got.layout, log_l)


def _rank(table: Table, i: int) -> tuple[object, ...]:
    r = table.readings[i]
    means = tuple(float(h.prediction.mean[0, i]) for h in table.hypotheses[:8])
    return (r.value, r.sigma, r.misprobe, r.spread, r.run, r.occasion, r.state, means)


def _dense(readings: tuple[Reading, ...], at: Layout, order: Whole) -> _Dense:
    cov = at.cov[:, order][:, :, order]
    if len(readings):
        each = np.arange(len(readings))
        cov[:, each, each] += [r.sigma**2 + r.spread**2 / 3 for r in readings]
    others = None if at.others is None else at.others[:, order]
    return _Dense(
        np.asarray([r.value for r in readings]) - at.mean[:, order],
        cov,
        wrong_density(readings, others, len(at.mean)),
        at.words,
    )


def _numbers(table: Table, d: _Dense, pick: list[int]) -> Rows:
    """Numeric readings `pick`, with the chance that one run was measured against a bad reference lead."""
    readings = tuple(table.readings[i] for i in pick)
    if len(pick) < len(table.readings):
        d = d.less(pick, None)
    return _spoiled_runs(replace(table, readings=readings), d, weigh(readings, d.residual, d.cov, d.bad))


def _runs(readings: tuple[Reading, ...]) -> list[list[int]]:
    """The readings of each run that is more than one."""
    names = sorted({r.run for r in readings if r.run})
    found = [[i for i, r in enumerate(readings) if r.run == run] for run in names]
    return [where for where in found if len(where) > 1]


def _spoiled_runs(table: Table, d: _Dense, main: Rows) -> Rows:
    """The readings of a table weighed one by one (`main`), with the chance that a run is wrong at once."""
    readings = table.readings
    spoiled = _runs(readings)
    if not spoiled:
        return main
    share = table.spoiled_run
    terms = [main.log_likelihood + np.log1p(-share)]
    wrongs = [main.wrong]
    for where in spoiled:
        rest = [i for i in range(len(readings)) if i not in where]
        few = d.less(rest, None)
        left = weigh(tuple(readings[i] for i in rest), few.residual, few.cov, few.bad)
        anywhere = sum(-np.log(readings[i].width) for i in where)
        terms.append(left.log_likelihood + anywhere + np.log(share / len(spoiled)))
        wrong = np.ones_like(main.wrong)
        wrong[:, rest] = left.wrong
        wrongs.append(wrong)
    stack = np.stack(terms)
    total = np.logaddexp.reduce(stack, axis=0)
    wrong_all = np.einsum("tn,tnm->nm", np.exp(stack - total), np.stack(wrongs))
    return replace(main, log_likelihood=np.asarray(total), wrong=wrong_all)


def _words(table: Table, columns: Array) -> tuple[Array, Array]:
    """Word log-likelihood [n, w] with misprobes, and the chance that each word is wrong [n, w]."""
    out, wrong = np.zeros_like(columns), np.zeros_like(columns)
    for j, word in enumerate(table.words):
        bad = np.log(max(word.misprobe * word.wrong_likelihood, 1e-12))
        out[:, j] = np.logaddexp(columns[:, j] + np.log1p(-word.misprobe), bad)
        wrong[:, j] = np.exp(bad - out[:, j])
    return out, wrong


def _intermittent(table: Table, h: Hypothesis, d: _Dense, well: _Dense | None) -> Array:
    """Each occasion either showed the fault or looked healthy; while it works it looked healthy for sure."""
    if well is None:
        raise AssertionError("checked before")
    occasions = sorted({r.occasion for r in table.readings} | {w.occasion for w in table.words})
    total = np.zeros(len(d.residual))
    for o in occasions:
        states = {r.state for r in table.readings if r.occasion == o} | {
            w.state for w in table.words if w.occasion == o
        }
        chance = 0.0 if "works" in states else 1.0 if "fails" in states else h.showing
        sick, fine = _occasion(table, d, o), float(_occasion(table, well, o)[0])
        with np.errstate(divide="ignore"):
            total += np.logaddexp(np.log(chance) + sick, np.log(1 - chance) + fine)
    return total


def _occasion(table: Table, d: _Dense, occasion: int) -> Array:
    pick = [i for i, r in enumerate(table.readings) if r.occasion == occasion]
    log_l = _numbers(table, d, pick).log_likelihood
    mine = [j for j, w in enumerate(table.words) if w.occasion == occasion]
    return np.asarray(log_l + _words(table, d.words)[0][:, mine].sum(axis=1), np.float64)


def _better_state(got: Laid, sick: Rows, words: Array, word_wrong: Array) -> tuple[Rows, Array, Array]:
    """Misfit and doubt of an intermittent: each reading beside whichever state explains it better."""
    table = got.table
    if got.well is None:
        raise AssertionError("checked before")
    fine = _numbers(table, got.well, list(range(len(table.readings))))
    said, said_wrong = _words(table, got.well.words)
    may = np.asarray([r.state != "fails" for r in table.readings], bool)
    must = np.asarray([r.state == "works" for r in table.readings], bool)
    better = (np.abs(fine.alone[0]) < np.abs(sick.alone)) & may | must
    z = np.where(better, fine.alone[0], sick.alone)
    may_say = np.asarray([w.state != "fails" for w in table.words], bool)
    swap = may_say & (said[0] > words)
    wrong = np.where(better, fine.wrong[0], sick.wrong)
    return (
        Rows(sick.log_likelihood, wrong, z, (z**2).sum(axis=1), z),
        np.where(swap, said[0], words),
        np.where(swap, said_wrong[0], word_wrong),
    )
