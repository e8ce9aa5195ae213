"""Which pairs of causes may explain the readings: a first look at every one, before any is lived.

Every cause that moves a reading is a base, at a few severities; every cause of the catalogue is put beside it
as a change of a few branches (`solve.firstlook`). So that what one fault does to the other is seen: an open
fuse that stops the current which would show a bad ground, a second feed that hides a broken one.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Posterior, Table
from amptrail.belief.hoping import add_hopes, best_pairs
from amptrail.circuit.model import Circuit
from amptrail.jobs.evidence.predict import Evidence, Suspect
from amptrail.jobs.solved import engine
from amptrail.jobs.solved.observe import Conditions
from amptrail.solve.firstlook import first_look
from amptrail.solve.threads import share

Array = NDArray[np.float64]
SEVERITIES = 5  # of a cause that has them
TELLING_SIGMAS = 1.0  # a fault that moves a reading by more is active (NUMERICS, Doubles)
TELLING_NATS = 0.5  # the same for a word
BEST_SINGLES = 12  # beside which every other cause is put
UNMASKED_NATS = 2.0  # an inert cause that does more beside an active one is put there too
MOST_LOOKS = 3_000_000  # lanes of bases x second faults, a microsecond each
TILE = 1 << 22  # looks times readings kept at once (64 MB)


def thinned(s: Suspect) -> list[int]:
    """The rows of a single cause that a first look takes."""
    count = min(SEVERITIES, len(s.rows))
    return [round(k * (len(s.rows) - 1) / max(count - 1, 1)) for k in range(count)]


@lru_cache(maxsize=8)
def _seconds(base: tuple[Suspect, ...]) -> tuple[engine.Rows, NDArray[np.intp], NDArray[np.intp]]:
    """The thinned rows of all causes, which cause each belongs to, and its number among all rows."""
    start = np.cumsum([0, *(len(s.rows) for s in base)])
    picked = [(i, k) for i, s in enumerate(base) for k in thinned(s)]
    rows = engine.Rows(base[i].rows[k] for i, k in picked)
    owner = np.asarray([i for i, _ in picked], np.intp)
    return rows, owner, np.asarray([start[i] + k for i, k in picked], np.intp)


def hopes(circuit: Circuit, base: Sequence[Suspect], t: Table, post: Posterior, seen: Evidence) -> Array:
    """[cause, cause] ln P(readings) of both at once at their best severities, by a first look; -inf where
    there is none worth it. `t`, `post`: table and belief of the causes alone, the first being none."""
    rows, owner, number = _seconds(tuple(base))
    live, best = active(t), [i for i in post.ranking() if i != 0][:BEST_SINGLES]
    live[0], live[best] = False, True
    alone, at_best = _each_row(t, number), _best_row(t)
    lanes = _affordable(np.flatnonzero(live[owner]), owner, at_best, base)
    hope = np.zeros((len(lanes), len(rows)))
    for c in dict.fromkeys(o.conditions for o in seen.all):
        _add(circuit, rows, lanes, owner, number, c, seen, t, alone, at_best, hope)
    count = len(t.readings)
    for w in range(count, count + len(t.words)):
        hope += np.maximum(alone[lanes, w][:, None], at_best[owner, w][None])
    found = best_pairs(hope, owner[lanes], owner, len(base))
    nothing = found[:, :1]
    wanted = np.zeros(found.shape, np.bool_)
    wanted[np.ix_(live, live)] = wanted[best] = True
    wanted |= found > nothing + UNMASKED_NATS
    wanted[0, :] = wanted[:, 0] = False
    found = np.where(wanted, found, -np.inf)
    return np.maximum(found, found.T)


def _add(
    circuit: Circuit, rows: engine.Rows, lanes: NDArray[np.intp], owner: NDArray[np.intp],
    number: NDArray[np.intp], c: Conditions, seen: Evidence, t: Table, alone: Array, at_best: Array,
    hope: Array,
) -> None:  # fmt: skip
    """Add the readings taken under the conditions c to hope[lane, fault]."""
    index = [i for i, o in enumerate(seen.numbers) if o.conditions == c]
    if not index:
        return
    got = engine.solved(circuit, rows, c)
    asked = [got.asked(seen.numbers[i]) for i in index]
    mean, sigma = _of_rows(t, number)
    readings = [t.readings[i] for i in index]
    read = np.asarray([r.value for r in readings])
    own = np.asarray([r.sigma**2 + r.spread**2 / 3 for r in readings])
    slip = np.asarray([r.misprobe / r.width for r in readings])
    usual = np.asarray([_usual(mean[:, i], sigma[:, i]) for i in index])
    which = np.asarray(index, np.intp)
    second = np.ascontiguousarray(at_best[owner][:, which])
    step = max(1, TILE // (len(rows) * len(index)))
    for a, z in _tiles(owner[lanes], step):
        here, part = lanes[a:z], hope[a:z]
        value, source = first_look(got.session.network, got.runs, here, got.as_seconds, asked)
        for m, i in enumerate(index):
            value[:, :, m] = got.told(seen.numbers[i], value[:, :, m], here)
        first = [np.ascontiguousarray(x[here][:, which]) for x in (mean, sigma, alone)]
        given = (value, source, first[0], first[1], usual, read, own, slip, first[2], second)
        share(len(here), partial(add_hopes, *given, owner[here], owner, part))


def _tiles(owner: NDArray[np.intp], step: int) -> list[tuple[int, int]]:
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


def _affordable(
    lanes: NDArray[np.intp], owner: NDArray[np.intp], at_best: Array, base: Sequence[Suspect]
) -> NDArray[np.intp]:
    """The lanes of as many bases as there is time for, those first that explain most by themselves."""
    most = MOST_LOOKS // max(len(owner), 1)
    if len(lanes) <= most:
        return lanes
    with np.errstate(divide="ignore"):
        worth = np.log([s.prior for s in base]) + at_best.sum(axis=1)
    causes = np.unique(owner[lanes])
    causes = causes[np.argsort(-worth[causes], kind="stable")]
    size = np.bincount(owner, minlength=len(base))
    chosen = causes[: int(np.searchsorted(np.cumsum(size[causes]), most, "right"))]
    return np.flatnonzero(np.isin(owner, chosen))


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


def _of_rows(t: Table, number: NDArray[np.intp]) -> tuple[Array, Array]:
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


def _each_row(t: Table, number: NDArray[np.intp]) -> Array:
    return np.concatenate(_log_likely(t))[number]


def _best_row(t: Table) -> Array:
    """Each hypothesis at the severity that explains the reading best, [hypothesis, reading then word]."""
    return np.stack([x.max(axis=0) for x in _log_likely(t)])


__all__ = ["SEVERITIES", "active", "hopes", "thinned"]
