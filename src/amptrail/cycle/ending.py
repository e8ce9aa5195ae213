"""How a story ended: what is awake, what holds itself, what is drawn asleep."""

from __future__ import annotations

import numpy as np

from amptrail.circuit.phases import sleeping
from amptrail.circuit.supply import returning
from amptrail.cycle.timeline import Bits, Instant
from amptrail.solve import Network
from amptrail.solve.settle import CHATTER, EVENTS
from amptrail.solve.stepping import Snapshot, Stepper, asleep

LONG_S = 86_400.0  # a day and a night: every after-run has ended (common practice)
HOLDING = ("relay", "awake", "driver", "charging")  # what counts as on while the vehicle sleeps


def _rest(step: Stepper, bed: int, t: float) -> Bits | None:
    """The state after a long time in the sleeping phase; None when it never settles."""
    end = t + LONG_S
    for _ in range(EVENTS):
        if step.settle(bed, t) >= CHATTER:
            return None
        step.commit(bed, t)
        due = step.next_timer(t, end)
        if due is None:
            return np.array(step.work.state, np.uint8)
        t = due
    return None


def self_holding(step: Stepper, last: Snapshot) -> tuple[str, ...]:
    """Items on in the sleep after this story that are off in the sleep of a vehicle that never was on.

    Both are the sleeping fixed point of order settle with the same changes and the same blown fuses: two
    different ones mean that the circuit remembers (CHECKS A15: more than one stable state).
    """
    net = step.network
    bed = net.phases.index(sleeping(net.circuit))
    step.load(last)
    after = _rest(step, bed, last.t_s)
    fresh = asleep(net)
    fuses = slice(int(net.static.at[5]), int(net.static.at[6]))
    fresh.state[fuses] = last.state[fuses]
    step.load(fresh)
    never = _rest(step, bed, 0.0)
    step.load(last)
    if after is None or never is None:
        return ()
    more = (after == 1) & (never == 0)
    return tuple(sorted(n for n, b in zip(net.items, more, strict=True) if b and n.split()[0] in HOLDING))


def sleep_amps(net: Network, end: Instant) -> float | None:
    """What all batteries deliver, in series counted once, A; None where there is no steady value."""
    if end.status in ("chatter", "not_converged"):
        return None
    which = [net.branch(name) for name in returning(net.circuit)]
    return float(np.sum(end.amps[which]))
