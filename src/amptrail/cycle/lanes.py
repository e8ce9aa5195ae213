"""A timeline as lanes: one for every must-hold function, relay, module, load and fuse that opened."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from amptrail.circuit.model import Part, key
from amptrail.cycle.functions import FED_V, works
from amptrail.cycle.timeline import Instant, Timeline
from amptrail.cycle.why import LOAD_A, LOADS

Kind = Literal["function", "relay", "module", "load", "fuse"]
OFF, ON, BUZZES = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Lane:
    """`spans`: (from s, to s, OFF, ON or BUZZES) without gaps. For a fuse ON means open."""

    name: str
    kind: Kind
    spans: tuple[tuple[float, float, int], ...]

    def at(self, t: float) -> int:
        """The value from t on."""
        for begin, end, value in self.spans:
            if begin <= t < end:
                return value
        return self.spans[-1][2] if self.spans else OFF


@dataclass(frozen=True, slots=True)
class Band:
    """One leg on the time axis. `before`: before the changes were made."""

    phase: str
    begin_s: float
    end_s: float
    before: bool


@dataclass(frozen=True, slots=True)
class Lanes:
    """All that a drawing of a timeline needs."""

    bands: tuple[Band, ...]
    lanes: tuple[Lane, ...]


def _load(now: Instant, part: Part) -> int:
    net = now.network
    b = net.branch(part.name)
    volts = abs(float(now.volts[net.base.na[b]] - now.volts[net.base.nb[b]]))
    return int(volts >= FED_V and abs(float(now.amps[b])) > LOAD_A)


def _columns(timeline: Timeline) -> Iterator[tuple[str, Kind, list[int]]]:
    """(name, kind, value at every instant) of every lane, functions first."""
    seen, net, c = timeline.instants, timeline.network, timeline.network.circuit
    told = set()
    for must in c.musts:
        told |= {key(t.part) for t in (must.a, must.b) if t is not None}
        yield must.name, "function", [int(works(must, i)) for i in seen]
    for name in net.relays:
        yield name, "relay", [_item(i, f"relay {name}") for i in seen]
    for name in net.modules:
        yield name, "module", [_item(i, f"awake {name}") for i in seen]
    for part in c.parts:
        if part.kind in LOADS and key(part.name) not in told:
            yield part.name, "load", [_load(i, part) if _knows(i, part) else OFF for i in seen]
    for name in net.fuses:
        column = [_item(i, f"fuse {name}") for i in seen]
        if any(column):
            yield name, "fuse", column


def _knows(now: Instant, part: Part) -> bool:
    return key(part.name) in now.network.branch_of


def _item(now: Instant, name: str) -> int:
    if name in now.chattering:
        return BUZZES
    return int(name in now.network.items and now.is_on(name))


def _spans(times: Sequence[float], end: float, column: Sequence[int]) -> tuple[tuple[float, float, int], ...]:
    out: list[tuple[float, float, int]] = []
    for n, (t, value) in enumerate(zip(times, column, strict=True)):
        until = times[n + 1] if n + 1 < len(times) else end
        if out and out[-1][2] == value:
            out[-1] = (out[-1][0], until, value)
        elif until > t:
            out.append((t, until, value))
    return tuple(out)


def _bands(timeline: Timeline) -> tuple[Band, ...]:
    out: list[Band] = []
    for i in timeline.instants:
        if i.ends:
            begin = out[-1].end_s if out else timeline.instants[0].t_s
            out.append(Band(i.phase, begin, i.t_s, i.before))
    return tuple(out)


def lanes(timeline: Timeline) -> Lanes:
    """The lanes of a timeline. A lane whose volts mean nothing while a loop buzzes is BUZZES there too."""
    times = [i.t_s for i in timeline.instants]
    lost = [i.status in ("chatter", "not_converged") for i in timeline.instants]
    made = []
    for name, kind, column in _columns(timeline):
        if kind in ("function", "load"):
            column = [BUZZES if no else v for v, no in zip(column, lost, strict=True)]
        made.append(Lane(name, kind, _spans(times, times[-1], column)))
    return Lanes(_bands(timeline), tuple(made))
