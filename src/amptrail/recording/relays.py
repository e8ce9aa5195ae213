"""How long a relay takes from its winding to its contact, and what quenches its winding.

Both are seen when winding (85 or 86) and contact (87) of one relay are recorded together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.recording.channel import Channel
from amptrail.recording.events import Event, Watched, watch
from amptrail.recording.roles import Role

NEAR_S = (
    0.1  # a contact answers its winding within this (operate 3 to 10 ms, release 2 to 10 ms: FACTS section 3)
)
SUDDEN_S = 0.001  # a contact under load is open in less
BEFORE_S, AFTER_S = 0.002, 0.02  # where the spike of a release is looked for
DIODE_V, RESISTOR_V = (
    3.0,
    150.0,
)  # above the supply: a diode 0.7 V, 680 ohm 65 to 96 V, bare 1 000 V (section 3)


@dataclass(frozen=True, slots=True)
class Delay:
    """A relay that pulled in or let go at `t_s` (its winding switched), its contact `delay_ms` later.

    `spike_v`: how far the winding's low side went above its upper level when it was let go of, V;
    `suppression` in words, None where it cannot be told.
    """

    part: str
    kind: str
    t_s: float
    delay_ms: float
    spike_v: float | None = None
    suppression: str | None = None


def _part(channel: Channel) -> str:
    name = (channel.point or channel.name).partition(" to ")[0]
    return name.rpartition(".")[0].casefold()


def delays(channels: Sequence[Channel], events: Sequence[Event]) -> tuple[Delay, ...]:
    """Every switching of a winding that its contact answered, in order of time."""
    watched = [watch(c) for c in channels if c.samples > 2]
    windings = [w for w in watched if w.role in (Role.COIL, Role.COIL_LOW)]
    contacts = [w for w in watched if w.role is Role.CONTACT]
    out: list[Delay] = []
    for winding in windings:
        part = _part(winding.channel)
        for contact in (c for c in contacts if part and _part(c.channel) == part):
            for e in events:
                if e.channel != winding.channel.name or e.kind not in ("pull_in", "drop_out"):
                    continue
                answer = next(
                    (x for x in events if x.channel == contact.channel.name and x.kind == e.kind
                     and 0 < x.t_s - e.t_s <= NEAR_S), None,
                )  # fmt: skip
                if answer is None or _creeps(contact, answer, answer.t_s - e.t_s):
                    continue
                spike = words = None
                if e.kind == "drop_out" and winding.role is Role.COIL_LOW:
                    c = winding.channel
                    x = c.values(c.index(e.t_s - BEFORE_S), c.index(e.t_s + AFTER_S) + 1)
                    spike = float(x.max()) - winding.levels.high
                    words = _suppression(spike)
                name = (contact.channel.point or contact.channel.name).rpartition(".")[0]
                out.append(Delay(name, e.kind, e.t_s, (answer.t_s - e.t_s) * 1000, spike, words))
    return tuple(sorted(out, key=lambda d: (d.t_s, d.part)))


def _creeps(contact: Watched, e: Event, delay_s: float) -> bool:
    """Whether the contact's volts went slowly: what an open contact without a load leaves on its wire runs
    off through the probe, and tells nothing of when it opened."""
    c, at = contact.channel, contact.levels
    reach = int(max(delay_s, 0.005) / c.dt_s) + 2
    k = c.index(e.t_s)
    x = c.values(k - reach, min(k + reach, c.samples))
    between = int(((x > at.low + 0.3 * at.step) & (x < at.low + 0.7 * at.step)).sum())
    return between * c.dt_s > max(SUDDEN_S, delay_s / 4)


def _suppression(spike_v: float) -> str:
    if spike_v <= DIODE_V:
        return "a diode across the winding, or a clip too slow to show the spike: lets go late"
    if spike_v <= RESISTOR_V:
        return "a resistor or a zener across the winding"
    return "nothing across the winding"
