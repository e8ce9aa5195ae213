"""Order `settle`: everything that switches does so at once, until nothing moves; then time goes on.

The law of the oracle format: phase ends are bit for bit those of `solve.run`.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.cycle.story import Leg
from amptrail.cycle.timeline import Instant, Switched
from amptrail.solve.runs import STATUS, names_of
from amptrail.solve.settle import CHATTER, EVENTS
from amptrail.solve.stepping import Bits, Stepper


def switched(step: Stepper, before: Bits) -> tuple[Switched, ...]:
    """What went on or off since `before`, in the order of network.items; inputs and signals are left out."""
    last = int(step.static.at[7])
    now = step.work.state
    return tuple(
        Switched(n, bool(b))
        for n, b, was in zip(step.network.items[:last], now, before, strict=False)
        if b != was
    )


def moment(
    step: Stepper, leg: Leg, number: int, t: float, status: int, before: Bits, ends: bool = False
) -> Instant:
    """The present of a stepper as an Instant."""
    net, w = step.network, step.work
    buzz = status == CHATTER
    return Instant(
        leg.pass_no, net.phases[leg.phase].name, leg.phase, t, STATUS[status],  # type: ignore[arg-type]
        net, w.state.copy(), step.volts, step.amps[: len(net.branches)], switched(step, before), ends,
        leg.before, w.low.copy() if buzz else None, w.high.copy() if buzz else None,
        names_of(net, w.toured) if buzz else (), number,
    )  # fmt: skip


def live(step: Stepper, leg: Leg, number: int, begin: float) -> Iterator[Instant]:
    """One leg: its first moment, every timer that runs out, its end."""
    end = begin + leg.seconds
    t = begin
    for _ in range(EVENTS + 1):
        before = step.work.state.copy()
        status = step.settle(leg.phase, t)
        if status < CHATTER:
            step.commit(leg.phase, t)
        yield moment(step, leg, number, t, status, before)
        due = step.next_timer(t, end)
        if due is None:
            break
        t = due
    yield moment(step, leg, number, end, status, step.work.state.copy(), ends=True)
