"""Hypotheses that no allowed test tells apart are one line; and which pairs of faults need solving."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.tables import Array


def equivalent(low: Array, high: Array, sigma: Array) -> tuple[tuple[int, ...], ...]:
    """Groups of hypotheses whose prediction ranges agree at every allowed test within two sigma.

    `low[h, t]`, `high[h, t]`: least and greatest prediction over what is still believed of the severity;
    `sigma[t]`: instrument. Merging needs agreement with the group's first member, so that a chain of small
    steps is never one group.
    """
    groups: list[list[int]] = []
    for h in range(len(low)):
        for g in groups:
            first = g[0]
            gap = np.maximum(np.abs(low[h] - low[first]), np.abs(high[h] - high[first]))
            if bool((gap <= 2 * sigma).all()):
                g.append(h)
                break
        else:
            groups.append([h])
    return tuple(tuple(g) for g in groups)


def active(mean: Array, healthy: Array, sigma: Array) -> bool:
    """Does the fault move any measured reading (mean[g, m] against healthy[m]) by more than one sigma?"""
    return bool((np.abs(mean - healthy) > sigma).any()) if mean.size else False


@dataclass(frozen=True)
class Pairs:
    """`solve`: pairs of single faults to be solved together; `as_single`: (active, inert) pairs whose
    likelihood is that of the active one (their prior is the product of both)."""

    solve: tuple[tuple[int, int], ...]
    as_single: tuple[tuple[int, int], ...]


def pairs(is_active: NDArray[np.bool_], best: tuple[int, ...] = ()) -> Pairs:
    """The active-pair rule; every fault on top of the `best` singles is solved too, for unmasked ones."""
    solve: list[tuple[int, int]] = []
    single: list[tuple[int, int]] = []
    wanted = set(best)
    for a, b in combinations(range(len(is_active)), 2):
        if (is_active[a] and is_active[b]) or a in wanted or b in wanted:
            solve.append((a, b))
        elif is_active[a] or is_active[b]:
            single.append((a, b) if is_active[a] else (b, a))
    return Pairs(tuple(solve), tuple(single))


def inert_mass(
    prior: Array, log_evidence: Array, as_single: tuple[tuple[int, int], ...]
) -> tuple[Array, Array]:
    """Priors and log-evidence of the (active, inert) pairs, ready to stand beside the singles."""
    if not as_single:
        return np.zeros(0), np.zeros(0)
    first, second = np.asarray(as_single, np.intp).T
    return prior[first] * prior[second], log_evidence[first]
