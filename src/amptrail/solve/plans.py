"""The elimination plan of a healthy circuit, made once when it is assembled."""

from __future__ import annotations

import numpy as np

from amptrail.solve.elimination import Array, Plan, fill, ordering, packed
from amptrail.solve.laws import CURRENT, NONE, RES
from amptrail.solve.records import Lane

SWEEPS = 3.0  # Newton steps a solve, about


def plan_of(nodes: int, ground: int, lane: Lane) -> Array:
    """Minimum degree, with all relay contacts and switches in it; the ends of nonlinear branches last where
    that saves work. In a large circuit they fill one another in: 500 parts then cost ten times more."""
    bent = np.flatnonzero(~np.isin(lane.kind, (NONE, RES, CURRENT)))
    ends = np.unique(np.concatenate([lane.na[bent], lane.nb[bent]]))
    late = np.zeros(nodes, np.int8)
    late[ends] = 1
    plans = [_ordered(nodes, ground, lane, x) for x in (np.zeros(nodes, np.int8), late)]
    best = min(plans, key=lambda p: _work(p, ends[ends != ground]))
    return packed(best, lane.na, lane.nb)


def _ordered(nodes: int, ground: int, lane: Lane, late: Array) -> Plan:
    order, rank = np.zeros(nodes - 1, np.int32), np.zeros(nodes, np.int32)
    ordering(nodes, ground, lane.na, lane.nb, late, order, rank)
    return fill(nodes, ground, order, rank, lane.na, lane.nb)


def _work(plan: Plan, ends: Array) -> float:
    """Pairs and arms gone through in one solve: from the first nonlinear pivot on once a Newton step."""
    head = int(plan.rank[ends].min()) if len(ends) else len(plan.order)
    before = float(plan.pair[head] + plan.start[head])
    whole = float(plan.pair[-1] + plan.start[-1])
    return before + SWEEPS * (whole - before)
