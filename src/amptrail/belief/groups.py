"""Hypotheses that no allowed test tells apart are one line; and which pairs of faults need solving."""

from __future__ import annotations

from collections.abc import Sequence

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


def active_pairs(is_active: NDArray[np.bool_], best: Sequence[int] = ()) -> NDArray[np.bool_]:
    """[hypothesis, hypothesis] the active-pair rule: two that both move a reading, and every one beside the
    `best` singles, for those that only a second one unmasks (NUMERICS, Doubles). None with itself."""
    wanted = is_active[:, None] & is_active[None, :]
    wanted[list(best), :] = wanted[:, list(best)] = True
    np.fill_diagonal(wanted, False)
    return wanted
