"""sensitivities(): how a reading moves with every parameter, the discrete state held."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from amptrail.errors import ModelError, Problem
from amptrail.solve.held import hold
from amptrail.solve.kernel import frozen
from amptrail.solve.network import Network, Parameter
from amptrail.solve.readings import Tap, instrument_branch, tap_nodes
from amptrail.solve.records import Lane
from amptrail.solve.runs import Floats, Runs

STEP = 1e-4  # relative; central difference: error about STEP^2, rounding about 1e-15/STEP


def _with(net: Network, lane: Lane, parameter: Parameter, factor: float) -> Lane:
    """A copy of the lane in which the parameter is `factor` times what it is now."""
    names = {array for array, _ in parameter.places}
    fresh = lane._replace(**{a: getattr(lane, a).copy() for a in names})
    for array, index in parameter.places:
        getattr(fresh, array)[index] *= factor
    return fresh


def sensitivities(network: Network, runs: Runs, lane: int, phase: int, taps: Sequence[Tap]) -> Floats:
    """[tap, parameter]: d reading / d ln(parameter), V or A per unit relative change, in the order of
    `network.parameters`; `phase` indexes `runs.phases`. The instrument is connected; no ohmmeters."""
    if any(t.instrument == "ohmmeter" for t in taps):
        raise ModelError((Problem("no-slope", "sensitivities are for volts and amperes"),))
    slopes = np.zeros((len(taps), len(network.parameters)))
    base = Lane(*(a[lane].copy() for a in runs.lanes))
    static, kept = hold(network.static), hold(runs.snapshot)
    v, i = np.zeros(network.static.nodes), np.zeros(base.kind.size)
    for m, tap in enumerate(taps):
        here = base._replace(kind=base.kind.copy(), na=base.na.copy(), nb=base.nb.copy(), p=base.p.copy())
        if tap.instrument != "clamp":
            a, b = tap_nodes(network, tap)
            kind, p = instrument_branch(tap)
            at = network.instrument
            here.kind[at], here.na[at], here.nb[at] = kind, a, b
            here.p[at, : len(p)] = p
        for k, parameter in enumerate(network.parameters):
            got = []
            for factor in (1.0 + STEP, 1.0 - STEP):
                changed = _with(network, here, parameter, factor)
                frozen(static, hold(changed), runs.phases[phase], kept, lane, phase, v, i)
                got.append(i[network.branch(tap.a)] if tap.instrument == "clamp" else v[a] - v[b])
            slopes[m, k] = (got[0] - got[1]) / (2.0 * STEP)
    return slopes
