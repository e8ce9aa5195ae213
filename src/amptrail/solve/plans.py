"""The elimination plan of a healthy circuit, made once when it is assembled."""

from __future__ import annotations

import numpy as np

from amptrail.solve.elimination import Array, fill, ordering, packed
from amptrail.solve.laws import CURRENT, NONE, RES
from amptrail.solve.records import Lane


def plan_of(nodes: int, ground: int, lane: Lane) -> Array:
    """Minimum degree, the ends of nonlinear branches last; all relay contacts and switches in it."""
    late = np.zeros(nodes, np.int8)
    bent = ~np.isin(lane.kind, (NONE, RES, CURRENT))
    late[lane.na[bent]] = late[lane.nb[bent]] = 1
    order, rank = np.zeros(nodes - 1, np.int32), np.zeros(nodes, np.int32)
    ordering(nodes, ground, lane.na, lane.nb, late, order, rank)
    return packed(fill(nodes, ground, order, rank, lane.na, lane.nb), lane.na, lane.nb)
