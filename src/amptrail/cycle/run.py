"""run_cycle: one lane through a story, in one of two orders, as a Timeline."""

from __future__ import annotations

from collections.abc import Sequence

from amptrail.circuit.model import key
from amptrail.cycle.buzz import buzz
from amptrail.cycle.ending import self_holding, sleep_amps
from amptrail.cycle.pace import NORMAL, Pace
from amptrail.cycle.settle_order import live
from amptrail.cycle.story import Leg, story
from amptrail.cycle.time_order import Player
from amptrail.cycle.timeline import Instant, Order, Reason, Timeline
from amptrail.cycle.why import causes, loops_of, still_on
from amptrail.errors import ModelError, Problem, nearest
from amptrail.solve import Change, Kind, Network, Tap
from amptrail.solve.runs import FIRST_SLEEP_S
from amptrail.solve.stepping import Snapshot, Stepper, asleep

Changes = Sequence[Change]


def run_cycle(
    network: Network,
    changes: Changes = (),
    start: str = "asleep",
    cycles: int = 1,
    order: Order = "settle",
    leave: Sequence[Tap] = (),
    *,
    rest_s: float = FIRST_SLEEP_S,
    was: Network | None = None,
    was_changes: Changes = (),
    pace: Pace = NORMAL,
) -> Timeline:
    """Live through a start (`story.starts`) and `cycles` drive cycles with the changes present.

    `changes`: faults, and a corner of tolerances as Kind.PARAM changes (see `corner`). `leave`: instruments
    left connected throughout. Start awake:PHASE: the vehicle before is `was` (default this network) with
    `was_changes`; relays, modules and timers keep their state by name when the changes are made.
    Raises ModelError for a start the phases do not allow, an unknown target, an instrument that cannot stay.
    """
    if order not in ("settle", "time"):
        raise ModelError((Problem("bad-order", f"order {order!r}", expected=("settle", "time")),))
    legs = story(network, start, cycles, rest_s)
    instants: list[Instant] = []
    now: Snapshot = asleep(network)
    kept: tuple[Leg, Stepper] | None = None
    player = Player(pace)
    play = live if order == "settle" else player.live
    for number, leg in enumerate(legs):
        step = _stepper(network, changes, leave, was, was_changes, leg, kept, now)
        kept = (leg, step)
        instants.extend(play(step, leg, number, now.t_s))
        now = step.save(now.t_s + leg.seconds)
    last = instants[-1]
    why = causes(step, last, still_on(last))
    # what a loop that never rests would hold depends on the moment it is left at
    held = () if last.status == "chatter" else self_holding(step, now)
    mine = [i for i in instants if not i.before]
    chatter = tuple(sorted({item for i in mine for item in i.chattering}))
    loops = (*loops_of(why), *dict.fromkeys(buzz(i, step.lane) for i in mine if i.chattering))
    reason = _reason(last, step, now.t_s, player)
    return Timeline(
        network, order, start, tuple(instants), reason, last.state.modules_awake, why,
        sleep_amps(network, last), held, chatter, loops, last.state.fuses_open, _races(mine), now,
    )  # fmt: skip


def _stepper(
    network: Network, changes: Changes, leave: Sequence[Tap], was: Network | None, was_changes: Changes,
    leg: Leg, kept: tuple[Leg, Stepper] | None, now: Snapshot,
) -> Stepper:  # fmt: skip
    """The stepper of the leg before while nothing changes, else a new one that goes on from `now`."""
    if kept is not None and (kept[0].before, kept[0].extra) == (leg.before, leg.extra):
        return kept[1]
    if leg.before:
        return Stepper.of(was or network, was_changes, (), now)
    return Stepper.of(network, (*leg.extra, *changes), leave, now)


def _reason(last: Instant, step: Stepper, t: float, player: Player) -> Reason:
    if last.status == "chatter":
        return "chatter"
    running = step.next_timer(t, float("inf")) is not None or player.exhausted or player.works.busy
    return "horizon" if running or last.status == "not_converged" else "settled"


def _races(instants: Sequence[Instant]) -> tuple[str, ...]:
    """Phases in which the order of switching mattered, in the order lived."""
    return tuple(dict.fromkeys(i.phase for i in instants if i.status == "race"))


def corner(network: Network, factors: Sequence[tuple[str, str, float]]) -> tuple[Change, ...]:
    """Changes that multiply parameters: (part, name, factor) each, such as ("K4", "coil_ohm", 1.25)."""
    out = []
    for part, name, factor in factors:
        for p in network.parameters:
            if key(p.part) == key(part) and key(p.name) == key(name):
                out.append(Change(Kind.PARAM, p.part, p.name, p.value * factor))
                break
        else:
            known = tuple(p.name for p in network.parameters if key(p.part) == key(part))
            near = nearest(name, known) or nearest(part, [p.part for p in network.parameters])
            text = f"{part} has no {name} that a corner could change"
            raise ModelError((Problem("no-such-value", text, expected=known, nearest=near),))
    return tuple(out)
