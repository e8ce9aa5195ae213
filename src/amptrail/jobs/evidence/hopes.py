"""Which pairs of causes may explain the readings: a first look at every one, before any is lived.

Every cause that moves a reading is a base, at a few severities; every cause of the catalogue is put beside it
as a change of a few branches (`solve.firstlook`). So that what one fault does to the other is seen: an open
fuse that stops the current which would show a bad ground, a second feed that hides a broken one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Posterior, Table, active_pairs
from amptrail.belief.hoping import add_hopes, best_pairs
from amptrail.circuit.model import Circuit
from amptrail.jobs.evidence.predict import Evidence, Suspect, lanes_of
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.predicted import Solved
from amptrail.solve.firstlook import first_look, work
from amptrail.solve.threads import share

Array = NDArray[np.float64]
Whole = NDArray[np.intp]
SEVERITIES = 5  # of a cause that has them
TELLING_SIGMAS = 1.0  # a fault that moves a reading by more is active (NUMERICS, Doubles)
TELLING_NATS = 0.5  # the same for a word
BEST_SINGLES = 12  # beside which every other cause is put
UNMASKED_NATS = 2.0  # an inert cause that does more beside an active one is put there too
MOST_WORK = 5e6  # lanes of bases x second faults, a fifth of a microsecond each
TILE = 1 << 22  # looks times readings kept at once (64 MB)


def thinned(s: Suspect) -> list[int]:
    """The rows of a single cause that a first look takes."""
    count = min(SEVERITIES, len(s.rows))
    return [round(k * (len(s.rows) - 1) / max(count - 1, 1)) for k in range(count)]


@dataclass(frozen=True, eq=False)
class _Thinned:
    """All causes at the severities of a first look: rows, the cause each belongs to, its number among all."""

    base: tuple[Suspect, ...]
    rows: solving.Rows
    owner: Whole
    number: Whole

    def under(self, circuit: Circuit, c: Conditions) -> tuple[Solved, Whole]:
        """The rows run under standing conditions, and which lanes they are: of all severities where those
        have been run and are kept (no new part has come in, and the circuit is none of hundreds of parts)."""
        got = solving.known(circuit, lanes_of(self.base), c)
        if got is not None:
            return got, self.number
        return solving.solved(circuit, self.rows, c), np.arange(len(self.rows))


@lru_cache(maxsize=8)
def _thinned(base: tuple[Suspect, ...]) -> _Thinned:
    start = np.cumsum([0, *(len(s.rows) for s in base)])
    picked = [(i, k) for i, s in enumerate(base) for k in thinned(s)]
    rows = solving.Rows(base[i].rows[k] for i, k in picked)
    owner = np.asarray([i for i, _ in picked], np.intp)
    return _Thinned(base, rows, owner, np.asarray([start[i] + k for i, k in picked], np.intp))


def hopes(circuit: Circuit, base: Sequence[Suspect], t: Table, post: Posterior, seen: Evidence) -> Array:
    """[cause, cause] ln P(readings) of both at once at their best severities, by a first look; -inf where
    there is none worth it. `t`, `post`: table and belief of the causes alone, the first being none."""
    all_ = _thinned(tuple(base))
    live, best = active(t), [i for i in post.ranking() if i != 0][:BEST_SINGLES]
    live[0], live[best] = False, True
    each = _log_likely(t)
    alone, at_best = np.concatenate(each)[all_.number], np.stack([x.max(axis=0) for x in each])
    looks = [_Look(circuit, all_, c, seen) for c in dict.fromkeys(o.conditions for o in seen.numbers)]
    bases = _affordable(np.flatnonzero(live), all_, at_best, sum(k.work for k in looks))
    lanes = np.flatnonzero(np.isin(all_.owner, bases))
    hope = np.zeros((len(lanes), len(all_.rows)))
    for look in looks:
        look.add(lanes, t, alone, at_best, hope)
    count = len(t.readings)
    for w in range(count, count + len(t.words)):
        hope += np.maximum(alone[lanes, w][:, None], at_best[all_.owner, w][None])
    found = best_pairs(hope, all_.owner[lanes], all_.owner, len(base))
    wanted = active_pairs(live, best) | (found > found[:, :1] + UNMASKED_NATS)
    for i in np.setdiff1d(np.flatnonzero(live), bases):  # of these, each reading by whichever explains it
        found[i] = np.maximum(at_best[i], at_best).sum(axis=1)
    wanted[0, :] = wanted[:, 0] = False
    found = np.where(wanted, found, -np.inf)
    return np.maximum(found, found.T)


def most_hoped(base: Sequence[Suspect], t: Table) -> float:
    """ln of prior times P(readings) of the best pair of active causes if each reading were told by whichever
    of the two tells it better: what no look is needed for. -inf: there is no pair."""
    live = np.flatnonzero(active(t))
    live = live[live > 0]
    if len(live) < 2:
        return -np.inf
    at_best = np.stack([x.max(axis=0) for x in _log_likely(t)])[live]
    with np.errstate(divide="ignore"):
        log_prior = np.log([base[int(i)].prior for i in live])
    rows = (np.maximum(x, at_best[n + 1 :]).sum(axis=1) for n, x in enumerate(at_best[:-1]))
    return max(float((r + log_prior[n + 1 :]).max() + log_prior[n]) for n, r in enumerate(rows))


class _Look:
    """The readings taken under one set of standing conditions, beside every second fault."""

    def __init__(self, circuit: Circuit, all_: _Thinned, c: Conditions, seen: Evidence) -> None:
        self.index = np.asarray([i for i, o in enumerate(seen.numbers) if o.conditions == c], np.intp)
        self.observed = [seen.numbers[i] for i in self.index]
        self.all = all_
        self.got, self.which = all_.under(circuit, c)
        self.seconds = self.got.seconds(self.which)
        self.asked = [self.got.asked(o) for o in self.observed]

    @property
    def work(self) -> float:
        """Of one lane, in second faults."""
        return work(self.seconds, self.got.runs, self.asked)

    def add(self, lanes: Whole, t: Table, alone: Array, at_best: Array, hope: Array) -> None:
        """Add ln P of these readings to hope[lane, fault]; alone[row], at_best[cause] are those by one cause,
        in general and at its best."""
        owner, mine = self.all.owner, self.index
        mean, sigma = _of_rows(t, self.all.number)
        readings = [t.readings[i] for i in mine]
        read = np.asarray([r.value for r in readings])
        own = np.asarray([r.sigma**2 + r.spread**2 / 3 for r in readings])
        slip = np.asarray([r.misprobe / r.width for r in readings])
        usual = np.asarray([_usual(mean[:, i], sigma[:, i]) for i in mine])
        second = np.ascontiguousarray(at_best[owner][:, mine])
        step = max(1, TILE // (len(owner) * len(mine)))
        for a, z in _tiles(owner[lanes], step):
            here = lanes[a:z]
            value, source = first_look(
                self.got.session.network, self.got.runs, self.which[here], self.seconds, self.asked
            )
            for m, o in enumerate(self.observed):
                value[:, :, m] = self.got.told(o, value[:, :, m], self.which[here])
            first = [np.ascontiguousarray(x[here][:, mine]) for x in (mean, sigma, alone)]
            given = (value, source, first[0], first[1], usual, read, own, slip, first[2], second)
            share(len(here), partial(add_hopes, *given, owner[here], owner, hope[a:z]))


def _tiles(owner: Whole, step: int) -> list[tuple[int, int]]:
    """Pieces of about `step` lanes that part no cause."""
    ends = np.append(np.flatnonzero(np.diff(owner)) + 1, len(owner))
    out, a = [], 0
    for k, z in enumerate(ends.tolist()):
        if z - a >= step or k == len(ends) - 1:
            out.append((a, z))
            a = z
    return out


def _usual(mean: Array, sigma: Array) -> float:
    """The tolerance that a reading usually has, as a share of it."""
    large = np.abs(mean) > 1.0
    return float(np.median(sigma[large] / np.abs(mean[large]))) if large.any() else 0.0


def _affordable(live: Whole, all_: _Thinned, at_best: Array, each: float) -> Whole:
    """As many of the live causes as there is time for, those first that explain most by themselves; `each`:
    work of one lane."""
    with np.errstate(divide="ignore"):
        worth = np.log([s.prior for s in all_.base]) + at_best.sum(axis=1)
    order = live[np.argsort(-worth[live], kind="stable")]
    lanes = np.cumsum(np.bincount(all_.owner, minlength=len(all_.base))[order])
    return np.sort(order[: max(1, int(np.searchsorted(lanes * each, MOST_WORK, "right")))])


# ---- what single causes say -------------------------------------------------------------------------
def active(t: Table) -> NDArray[np.bool_]:
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


def _of_rows(t: Table, number: Whole) -> tuple[Array, Array]:
    """Mean and one sigma of the tolerances [row, reading] of the rows numbered."""
    mean = np.concatenate([h.prediction.mean for h in t.hypotheses])[number]
    var = [
        np.zeros(h.prediction.mean.shape) if h.prediction.cov is None
        else np.einsum("gii->gi", h.prediction.cov)
        for h in t.hypotheses
    ]  # fmt: skip
    return mean, np.sqrt(np.maximum(np.concatenate(var)[number], 0.0))


def _log_likely(t: Table) -> list[Array]:
    """[row, reading then word] log-likelihood of each hypothesis by itself, a slip included."""
    value = np.asarray([r.value for r in t.readings])
    own = np.asarray([r.sigma**2 + r.spread**2 / 3 for r in t.readings])
    slip = np.asarray([r.misprobe / r.width for r in t.readings])
    wrong = np.asarray([w.misprobe * w.wrong_likelihood for w in t.words])
    out = []
    for h in t.hypotheses:
        p = h.prediction
        var = own + (0.0 if p.cov is None else np.einsum("gii->gi", p.cov))
        density = np.exp(-0.5 * (value - p.mean) ** 2 / var) / np.sqrt(2 * np.pi * var)
        words = np.zeros((len(p.mean), 0)) if p.words is None else np.exp(p.words) + wrong
        out.append(np.log(np.concatenate([density + slip, words], axis=1) + 1e-30))
    return out


__all__ = ["SEVERITIES", "active", "hopes", "most_hoped", "thinned"]
