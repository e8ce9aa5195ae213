"""What given node volts leave over at every node by the laws of the elements: judges anybody's solution."""

from __future__ import annotations

import numpy as np

from amptrail.solve.held import hold
from amptrail.solve.kernel import lane_of, workspace
from amptrail.solve.network import Network
from amptrail.solve.newton import exact, leftover
from amptrail.solve.records import Lane
from amptrail.solve.runs import Floats
from amptrail.solve.stamping import prepare


def residual(network: Network, lane: Lane, state: np.ndarray, phase: int, volts: Floats) -> Floats:
    """[node] A left over when the nodes of one lane, frozen in `state` in `phase`, stand at `volts`.

    A reference's current is taken from its supply as it stands, so nothing is one round late here.
    """
    s = network.static
    mine = lane_of(Lane(*(a[None] for a in lane)), 0)
    w = workspace(s, mine)
    w.state[:] = state
    static, lane_held, work = hold(s), hold(mine), hold(w)
    prepare(static, lane_held, work, phase)
    exact(lane_held, work, volts)
    for b, copy in s.refs:
        mine.p[copy, 0] = w.i[b]
    prepare(static, lane_held, work, phase)
    exact(lane_held, work, volts)
    leftover(s.nodes, s.ground, mine.na, mine.nb, w.bg, volts, w.i, w.left)
    return np.array(w.left)
