"""Finer severities where they matter: where a relay, fuse or module changes, and where weight gathers.

Between two severities of the first grid a discrete state changes somewhere; half-way is a guess that a
reading near the boundary would pay for. The likeliest causes are solved again with more severities there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Grid, Hypothesis, Posterior, Table, posterior, where_to_refine
from amptrail.circuit.model import Circuit
from amptrail.jobs.evidence.predict import Evidence, Suspect, with_severity
from amptrail.jobs.evidence.renewed import weighed

Array = NDArray[np.float64]
LEAST = 0.01  # causes less likely are not worth more lanes
MOST = 24  # causes solved again at once
BETWEEN = 7  # severities more between two where the state changes: the boundary to a sixteenth of a step
NEAR_STEPS = 1.0  # a boundary so near what is believed of the severity matters


def refined(
    circuit: Circuit, t: Table, suspects: tuple[Suspect, ...], seen: Evidence, post: Posterior
) -> tuple[Table, tuple[Suspect, ...], Posterior]:
    """Table, suspects and posterior with the likeliest causes solved at finer severities where that tells."""
    gathers = where_to_refine(post, LEAST)
    finer: dict[int, Suspect] = {}
    for h in post.ranking()[:MOST]:
        s = suspects[h]
        if post.probability[h] < LEAST or len(s.grid.axes) != 1 or len(s.causes) != 1:
            continue
        more = [*_at_cuts(t.hypotheses[h].grid, post, h), *(gathers[h][0] if h in gathers else ())]
        if more:
            finer[h] = _with(s, more)
    if not finer:
        return t, suspects, post
    new = tuple(finer.values())
    got = weighed(circuit, new, seen)
    hypotheses, everyone = list(t.hypotheses), list(suspects)
    for h, s, found in zip(finer, new, got.hypotheses, strict=True):
        hypotheses[h], everyone[h] = _as_before(t.hypotheses[h], found), s
    t = replace(t, hypotheses=tuple(hypotheses))
    return t, tuple(everyone), posterior(t)


def _as_before(was: Hypothesis, found: Hypothesis) -> Hypothesis:
    """The finer predictions under the prior, name and way of showing the hypothesis had."""
    return replace(was, prediction=found.prediction, grid=found.grid)


def _at_cuts(grid: Grid, post: Posterior, h: int) -> list[float]:
    """Severities between the two on either side of each boundary that is near what is believed."""
    severity = post.severity[h]
    if severity is None or not grid.cuts:
        return []
    axis = grid.axes[0]
    step = NEAR_STEPS * float(np.diff(axis).max())
    low, high = np.log10(severity.low) - step, np.log10(severity.high) + step
    out: list[float] = []
    for cut in grid.cuts:
        if low < cut < high:
            i = int(np.searchsorted(axis, cut))
            out += np.linspace(axis[i - 1], axis[i], BETWEEN + 2)[1:-1].tolist()
    return out


def _with(s: Suspect, more: Sequence[float]) -> Suspect:
    """The suspect with further severities (log10 ohm), each kind of place only once."""
    axis = np.unique(np.round(np.concatenate([s.grid.axes[0], np.asarray(more)]), 9))
    cause = s.causes[0]
    rows = tuple(with_severity(cause.faults, [float(x)]) for x in 10.0**axis)
    return Suspect(s.causes, Grid((axis,)), rows, s.prior)
