"""Log-likelihood of every integration cell of every hypothesis: numbers, words, runs, intermittents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from amptrail.belief.grids import Cells, cells
from amptrail.belief.likelihood import Rows, weigh, wrong_density
from amptrail.belief.tables import Array, Hypothesis, Reading, Table

BATCH_ROWS = 16_384


@dataclass(frozen=True, eq=False)
class Scored:
    """One hypothesis over its cells: log-likelihood [n], and per cell the reading diagnostics."""

    cells: Cells
    log_likelihood: Array
    numbers: Rows
    words: Array
    word_wrong: Array


@dataclass(frozen=True, eq=False)
class _Dense:
    """Predictions of a batch of hypotheses at the cells, flattened to rows."""

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
class _Laid:
    """A table with its readings in one canonical order (`order`: their numbers in the table given), and its
    hypotheses in batches of one grid: (their numbers, cells, predictions at the cells)."""

    order: list[int]
    table: Table
    batches: list[tuple[list[int], Cells, _Dense]]

    def members(self, batch: list[int]) -> list[Hypothesis]:
        return [self.table.hypotheses[i] for i in batch]


@lru_cache(maxsize=1)
def _laid(table: Table) -> _Laid:
    """Worked out once for weighing a table and for leaving its readings out."""
    order = sorted(range(len(table.readings)), key=lambda i: _rank(table, i))
    whole = table.select(order, list(range(len(table.words))))
    batches = [(b, c, _dense(whole, [whole.hypotheses[i] for i in b], c)) for b, c in _batches(whole)]
    return _Laid(order, whole, batches)


def score(table: Table) -> list[Scored]:
    """Every hypothesis of the table, in order. Readings are taken in one canonical order inside, so the
    order in which they were given changes nothing."""
    laid = _laid(table)
    back = np.argsort(np.asarray(laid.order, np.intp)) if laid.order else np.zeros(0, np.intp)
    found: dict[int, Scored] = {}
    for batch, c, d in laid.batches:
        for i, s in zip(batch, _score_batch(laid.table, laid.members(batch), c, d), strict=True):
            n = s.numbers
            found[i] = Scored(
                c,
                s.log_likelihood,
                Rows(n.log_likelihood, n.wrong[:, back], n.z[:, back], n.chi2, n.alone[:, back]),
                s.words,
                s.word_wrong,
            )
    return [found[i] for i in range(len(table.hypotheses))]


def evidence_without(table: Table) -> tuple[Array, Array]:
    """Log-evidence of every hypothesis with one reading left out [reading, hypothesis], and with one word
    left out [word, hypothesis]: what `score` of the smaller table gives, the predictions worked out once."""
    laid = _laid(table)
    whole, m, w = laid.table, len(table.readings), len(table.words)
    anew = any(h.showing < 1 for h in table.hypotheses)
    smaller = [whole.without(reading=i) if anew else whole for i in range(m)]
    fewer = [whole.without(word=i) if anew else whole for i in range(w)]
    numbers, words = np.zeros((m, len(table.hypotheses))), np.zeros((w, len(table.hypotheses)))
    for batch, c, d in laid.batches:
        members = laid.members(batch)
        said, _ = _words(whole, d.words)
        every = list(range(m))
        for j in every:
            pick = [i for i in every if i != j]
            log_l = _numbers(whole, d, pick).log_likelihood + said.sum(axis=1)
            numbers[laid.order[j], batch] = _evidence(smaller[j], members, c, d.less(pick, None), log_l)
        plain = _numbers(whole, d, every).log_likelihood if w else np.zeros(0)
        for j in range(w):
            left = [i for i in range(w) if i != j]
            log_l = plain + said[:, left].sum(axis=1)
            words[j, batch] = _evidence(fewer[j], members, c, d.less(None, left), log_l)
    return numbers, words


def _evidence(table: Table, members: list[Hypothesis], c: Cells, d: _Dense, log_l: Array) -> list[float]:
    """Log-evidence of each member of a batch from its rows' log-likelihood; those that come and go anew."""
    n, out = len(c.log_weight), []
    for b, h in enumerate(members):
        s = slice(b * n, (b + 1) * n)
        rows = _intermittent(table, h, d.part(s)) if h.showing < 1 else log_l[s]
        out.append(float(np.logaddexp.reduce(c.log_weight + rows)))
    return out


def _rank(table: Table, i: int) -> tuple[object, ...]:
    r = table.readings[i]
    means = tuple(float(h.prediction.mean[0, i]) for h in table.hypotheses[:8])
    return (r.value, r.sigma, r.misprobe, r.spread, r.run, r.occasion, r.state, means)


def _batches(table: Table) -> Iterator[tuple[list[int], Cells]]:
    groups: dict[tuple[object, ...], list[int]] = {}
    for i, h in enumerate(table.hypotheses):
        groups.setdefault(h.grid.key(), []).append(i)
    for members in groups.values():
        c = cells(table.hypotheses[members[0]].grid)
        step = max(1, BATCH_ROWS // len(c.log_weight))
        for start in range(0, len(members), step):
            yield members[start : start + step], c


def _stack(members: list[Hypothesis], name: str, shape: tuple[int, ...]) -> Array:
    zero = np.zeros(shape)
    got = [getattr(h.prediction, name) for h in members]
    return np.stack([zero if a is None else a for a in got])


def _dense(table: Table, members: list[Hypothesis], c: Cells) -> _Dense:
    g, m, w = c.grid.size, len(table.readings), len(table.words)
    b, n = len(members), len(c.log_weight)
    mid, move = c.smooth(_stack(members, "mean", (g, m)))
    cov = np.einsum("ng,bgij->bnij", c.linear, _stack(members, "cov", (g, m, m)))
    # a cell wider than the reading's spread gives its average: its own width counts as spread
    # (sixth, not twelfth: neighbouring cells then overlap smoothly)
    cov = cov + np.einsum("bnai,bnaj->bnij", move, move) / 6
    noise = np.asarray([r.sigma**2 + r.spread**2 / 3 for r in table.readings])
    cov = cov + np.diag(noise) if m else cov
    k = max((0 if h.prediction.others is None else h.prediction.others.shape[2] for h in members), default=0)
    others = _others(members, c, (g, m, k)).reshape(b * n, m, k) if k else None
    values = np.asarray([r.value for r in table.readings])
    words = (
        np.einsum("ng,bgw->bnw", c.linear, np.maximum(_stack(members, "words", (g, w)), -700.0))
        if w
        else np.zeros((b, n, 0))
    )
    return _Dense(
        (values - mid).reshape(b * n, m),
        cov.reshape(b * n, m, m),
        wrong_density(table.readings, others, b * n),
        words.reshape(b * n, w),
    )


def _others(members: list[Hypothesis], c: Cells, shape: tuple[int, int, int]) -> Array:
    far = np.full(shape, 1e6)  # a hypothesis without such a table: nowhere near any reading
    got = [far if h.prediction.others is None else h.prediction.others for h in members]
    return np.asarray(np.einsum("ng,bgmk->bnmk", c.linear, np.stack(got)), np.float64)


def _numbers(table: Table, d: _Dense, pick: list[int]) -> Rows:
    """Numeric readings `pick`, with the chance that one run was measured against a bad reference lead."""
    index = np.asarray(pick, np.intp)
    readings = tuple(table.readings[i] for i in pick)
    sub_cov = d.cov[:, index][:, :, index]
    main = weigh(readings, d.residual[:, index], sub_cov, d.bad[:, index])
    runs = sorted({r.run for r in readings if r.run})
    spoiled = [(run, [i for i, r in enumerate(readings) if r.run == run]) for run in runs]
    spoiled = [(run, where) for run, where in spoiled if len(where) > 1]
    if not spoiled:
        return main
    share = table.spoiled_run
    terms = [main.log_likelihood + np.log1p(-share)]
    wrongs = [main.wrong]
    for _, where in spoiled:
        rest = [i for i in range(len(pick)) if i not in where]
        left = weigh(
            tuple(readings[i] for i in rest),
            d.residual[:, index[rest]],
            sub_cov[:, rest][:, :, rest],
            d.bad[:, index[rest]],
        )
        anywhere = sum(-np.log(_width(readings[i])) for i in where)
        terms.append(left.log_likelihood + anywhere + np.log(share / len(spoiled)))
        wrong = np.ones_like(main.wrong)
        wrong[:, rest] = left.wrong
        wrongs.append(wrong)
    stack = np.stack(terms)
    total = np.logaddexp.reduce(stack, axis=0)
    wrong_all = np.einsum("tn,tnm->nm", np.exp(stack - total), np.stack(wrongs))
    return Rows(np.asarray(total), wrong_all, main.z, main.chi2, main.alone)


def _width(r: Reading) -> float:
    return max(r.span[1], r.value) - min(r.span[0], r.value)


def _words(table: Table, columns: Array) -> tuple[Array, Array]:
    """Word log-likelihood [n, w] with misprobes, and the chance that each word is wrong [n, w]."""
    out, wrong = np.zeros_like(columns), np.zeros_like(columns)
    for j, word in enumerate(table.words):
        bad = np.log(max(word.misprobe * word.wrong_likelihood, 1e-12))
        out[:, j] = np.logaddexp(columns[:, j] + np.log1p(-word.misprobe), bad)
        wrong[:, j] = np.exp(bad - out[:, j])
    return out, wrong


def _score_batch(table: Table, members: list[Hypothesis], c: Cells, d: _Dense) -> list[Scored]:
    n = len(c.log_weight)
    numbers = _numbers(table, d, list(range(len(table.readings))))
    words, word_wrong = _words(table, d.words)
    total = numbers.log_likelihood + words.sum(axis=1)
    out = []
    for b, h in enumerate(members):
        s = slice(b * n, (b + 1) * n)
        n_ = numbers
        mine = Rows(n_.log_likelihood[s], n_.wrong[s], n_.z[s], n_.chi2[s], n_.alone[s])
        log_l = total[s]
        if h.showing < 1:
            log_l = _intermittent(table, h, d.part(s))
            mine, said, said_wrong = _better_state(table, mine, words[s], word_wrong[s])
            out.append(Scored(c, log_l, mine, said, said_wrong))
            continue
        out.append(Scored(c, log_l, mine, words[s], word_wrong[s]))
    return out


def _intermittent(table: Table, h: Hypothesis, d: _Dense) -> Array:
    """Each occasion either showed the fault or looked healthy; while it works it looked healthy for sure."""
    if table.healthy is None:
        raise AssertionError("checked before")
    well = table.hypotheses[table.healthy]
    healthy = _dense(table, [well], cells(well.grid))
    occasions = sorted({r.occasion for r in table.readings} | {w.occasion for w in table.words})
    total = np.zeros(len(d.residual))
    for o in occasions:
        states = {r.state for r in table.readings if r.occasion == o} | {
            w.state for w in table.words if w.occasion == o
        }
        chance = 0.0 if "works" in states else 1.0 if "fails" in states else h.showing
        sick, fine = _occasion(table, d, o), float(_occasion(table, healthy, o)[0])
        with np.errstate(divide="ignore"):
            total += np.logaddexp(np.log(chance) + sick, np.log(1 - chance) + fine)
    return total


def _occasion(table: Table, d: _Dense, occasion: int) -> Array:
    pick = [i for i, r in enumerate(table.readings) if r.occasion == occasion]
    log_l = _numbers(table, d, pick).log_likelihood
    mine = [j for j, w in enumerate(table.words) if w.occasion == occasion]
    return np.asarray(log_l + _words(table, d.words)[0][:, mine].sum(axis=1), np.float64)


def _better_state(table: Table, sick: Rows, words: Array, word_wrong: Array) -> tuple[Rows, Array, Array]:
    """Misfit and doubt of an intermittent: each reading beside whichever state explains it better."""
    if table.healthy is None:
        raise AssertionError("checked before")
    well = table.hypotheses[table.healthy]
    d = _dense(table, [well], cells(well.grid))
    fine = _numbers(table, d, list(range(len(table.readings))))
    said, said_wrong = _words(table, d.words)
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
