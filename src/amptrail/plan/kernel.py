"""The one hot loop of planning, compiled: information about repair groups over a large table."""

from __future__ import annotations

import numpy as np
from numba import njit, prange


@njit(cache=True, parallel=True, fastmath=False)
def group_bits_loop(belief, group, outcome):  # type: ignore[no-untyped-def]
    """bits[t] = I(class; group) for belief[h], group[h] (dense from 0), outcome[h, t, c]."""
    n, tests, classes = outcome.shape
    groups = group.max() + 1
    mass = np.zeros(groups)
    for h in range(n):
        mass[group[h]] += belief[h]
    prior = 0.0
    for g in range(groups):
        if mass[g] > 0:
            prior += mass[g] * np.log2(mass[g])
    out = np.zeros(tests)
    for t in prange(tests):
        joint = np.zeros((groups, classes))
        for h in range(n):
            for c in range(classes):
                joint[group[h], c] += belief[h] * outcome[h, t, c]
        value = -prior
        for c in range(classes):
            total = 0.0
            for g in range(groups):
                q = joint[g, c]
                if q > 0:
                    total += q
                    value += q * np.log2(q)
            if total > 0:
                value -= total * np.log2(total)
        out[t] = max(value, 0.0)
    return out
