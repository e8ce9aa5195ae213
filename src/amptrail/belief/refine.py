"""Where the weight gathers: the caller solves a finer grid there and asks again."""

from __future__ import annotations

import numpy as np

from amptrail.belief.infer import Posterior
from amptrail.belief.tables import Array


def where_to_refine(found: Posterior, share: float = 0.01, points: int = 9) -> dict[int, tuple[Array, ...]]:
    """For each hypothesis above `share`: extra log10(ohm) points per axis around its 5 … 95 % interval.

    Merge them into the old axis (sorted, unique), solve the new rows, and call `posterior` again. Only
    intervals that fall within two old grid steps are worth it; wider ones are left out.
    """
    out: dict[int, tuple[Array, ...]] = {}
    for i, h in enumerate(found.table.hypotheses):
        severity = found.severity[i]
        if severity is None or found.probability[i] < share:
            continue
        axes, needed = [], False
        for axis in h.grid.axes:
            if severity is None:
                break
            low, high = np.log10(severity.low), np.log10(severity.high)
            step = float(np.diff(axis).max())
            needed = needed or high - low < 2 * step
            pad = max(0.5 * (high - low), 0.02 * step)
            axes.append(np.clip(np.linspace(low - pad, high + pad, points), axis[0], axis[-1]))
            severity = severity.other
        if needed:
            out[i] = tuple(axes)
    return out
