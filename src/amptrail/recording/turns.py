"""How long after the key things let go and the vehicle slept: after-run and sleep times of a recording.

key  ____      on 22 s      |____________________________
87   ____|                  |    off 4.2 s later   (after-run)
clamp                       |________ 31 s later    (sleep)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.recording.channel import Channel
from amptrail.recording.events import Event, watch
from amptrail.recording.roles import Role

WITH_THE_KEY_S = (
    0.1  # a relay held by the key alone lets go within this (release 2 to 10 ms: FACTS section 3)
)


@dataclass(frozen=True, slots=True)
class Lag:
    """`what` (after-run: still on after the key; sleep) of a channel, `seconds` after the key went off at
    `t_s`, sure to `wide_s`."""

    channel: str
    what: str
    t_s: float
    seconds: float
    wide_s: float


def lags(channels: Sequence[Channel], events: Sequence[Event]) -> tuple[Lag, ...]:
    """Every let-go and every falling asleep after a key off, before the key is on again."""
    keys = sorted((e for e in events if e.kind in ("key_on", "key_off")), key=lambda e: e.t_s)
    contacts = {c.name for c in channels if c.samples > 2 and watch(c).role in (Role.CONTACT, Role.OTHER)}
    out: list[Lag] = []
    for n, off in enumerate(keys):
        if off.kind != "key_off":
            continue
        until = keys[n + 1].t_s if n + 1 < len(keys) else float("inf")
        for e in events:
            if not off.t_s <= e.t_s < until:
                continue
            late = e.t_s - off.t_s
            wide = (e.t_high_s - e.t_low_s + off.t_high_s - off.t_low_s) / 2
            if e.kind == "asleep":
                out.append(Lag(e.channel, "sleep", off.t_s, late, wide))
            elif e.kind == "drop_out" and e.channel in contacts and late > WITH_THE_KEY_S:
                out.append(Lag(e.channel, "after-run", off.t_s, late, wide))
    return tuple(out)
