"""What happened and when: every channel by what it watches, then the channels together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.recording.channel import Channel
from amptrail.recording.levels import Levels, levels
from amptrail.recording.roles import Role, role

KINDS = (
    "key_on",
    "key_off",
    "crank_start",
    "crank_end",
    "pull_in",
    "drop_out",
    "bounce",
    "dropout_start",
    "dropout_end",
    "chatter",
    "charge_start",
    "asleep",
    "woken",
    "step",
)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened on a channel at `t_s`, within `t_low_s`..`t_high_s` with probability
    `confidence`.

    `value` is its figure where it has one (level after a step, frequency of chatter in Hz, number of
    bounces), `end_s` its
    end where it lasts.
    """

    t_s: float
    kind: str
    channel: str
    confidence: float
    t_low_s: float
    t_high_s: float
    value: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, eq=False)
class Watched:
    """A channel, what it watches and its levels."""

    channel: Channel
    role: Role
    levels: Levels
    inverted: bool = False  # the clips are the other way round: on reads low


def watch(channel: Channel) -> Watched:
    """A channel looked at as a whole."""
    at = levels(channel)
    found, inverted = role(channel, at)
    return Watched(channel, found, at, inverted)


def find_events(channels: Sequence[Channel]) -> list[Event]:
    """Events of all channels in order of time, then of channel."""
    from amptrail.recording.contacts import switched
    from amptrail.recording.currents import steps
    from amptrail.recording.supplies import supply

    found: list[Event] = []
    watched = [watch(c) for c in channels if c.samples > 2]
    for w in watched:
        if w.role is Role.CURRENT:
            found += steps(w)
        elif w.role is Role.SUPPLY:
            found += supply(w)
        else:
            found += switched(w)
    order = {c.name: n for n, c in enumerate(channels)}
    return sorted(_together(found, watched), key=lambda e: (e.t_s, order[e.channel], e.kind))


SAME_S = (
    0.03  # two channels within this belong to one happening (relay release after the key: FACTS section 3)
)


def _together(found: list[Event], watched: Sequence[Watched]) -> list[Event]:
    """Without what several channels together show to be none: the low side of a winding rises and falls
    with the feed of
    the winding, and the relay has not moved."""
    low_sides = {w.channel.name for w in watched if w.role is Role.COIL_LOW}
    keys = [e for e in found if e.kind in ("key_on", "key_off")]

    def follows(e: Event) -> bool:
        feed = {"drop_out": "key_on", "pull_in": "key_off"}.get(e.kind)
        return e.channel in low_sides and any(k.kind == feed and abs(k.t_s - e.t_s) <= SAME_S for k in keys)

    return [e for e in found if not follows(e)]
