"""How fast things are in order `time`: relays, modules, fuses, the starting dip. Corners change these."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from amptrail.circuit import tables
from amptrail.circuit.model import Part, key
from amptrail.reference.cranking import profile
from amptrail.reference.fuse import gates
from amptrail.solve import Network

COIL_S = 0.0065  # L/R of a relay coil, s (FACTS 3: computed for 5-8 ms, fits the measured release times)
FREEWHEEL_V = 0.7  # a plain suppression diode (FACTS 3, seen)
SUPPRESSOR_OHM = 680.0  # a suppression resistor (FACTS 3, seen)
STARTER_S = 0.03  # plunger of a starter, in and out (common practice)
NEVER_BELOW = 1.10  # x rating: what a fuse carries for ever (ISO 8820-3, 110 % gate)
COOLS_S = 20.0  # a warm fuse link forgets with this time constant (common practice)
CAP = 5.0  # the slowest a relay pulls in, x its stated time (common practice)


@dataclass(frozen=True, slots=True)
class Pace:
    """`operate`, `release`: x the times of the sheet. `fuse`: 0 the fastest, 1 the slowest fuse that the
    gates allow. `dip`: level of ISO 16750-2, "" none. `ride_s`: how long a module lives on the
    capacitor behind its supply (common practice; ISO 16750-2 asks 15 ms of the dip of those needed to start).
    `sample_s`: how often modules look; `boot_s`: from
    supply good to a module's first look (FACTS 5, memory: 50-500 ms)."""

    operate: float = 1.0
    release: float = 1.0
    fuse: float = 0.5
    dip: Literal["", "I", "II", "III", "IV"] = "I"
    ride_s: float = 0.010
    sample_s: float = 0.010
    boot_s: float = 0.100

    def steps(self) -> tuple[tuple[float, float], ...]:
        """The starting dip as (seconds, share of the steady cranking supply)."""
        return profile(self.dip) if self.dip else ()


NORMAL = Pace()


@dataclass(frozen=True, slots=True)
class Armature:
    """The times of one relay or starter. `rated_v`: where its operate time holds."""

    operate_s: float
    release_s: float
    suppressed: str
    coil_ohm: float
    rated_v: float

    def pulls_in_after(self, volts: float, pull_v: float) -> float:
        """Seconds from coil volts to contacts made: the current must climb to what pulls in (L/R law)."""
        if volts <= pull_v or self.rated_v <= pull_v:
            return self.operate_s * CAP
        climb = math.log(volts / (volts - pull_v)) / math.log(self.rated_v / (self.rated_v - pull_v))
        return self.operate_s * min(climb, CAP)

    def lets_go_after(self, was_v: float, now_v: float, drop_v: float) -> float:
        """Seconds from the loss of coil volts to contacts open: the current must fall to what lets go, then
        the armature moves. Unsuppressed it dies at once; through a resistor or diode it lives on (FACTS 3:
        680 ohm 2.6 ms, plain diode about 8 ms); a sagging supply is followed with L/R."""
        start = max(was_v, drop_v)
        if abs(now_v) >= 0.1 * drop_v:  # still connected: it sinks towards the new volts
            sink = max((start - now_v) / max(drop_v - now_v, 1e-9), 1.0)
            return self.release_s + COIL_S * math.log(sink)
        if self.suppressed == "diode":
            return self.release_s + COIL_S * math.log((start + FREEWHEEL_V) / (drop_v + FREEWHEEL_V))
        if self.suppressed == "resistor":
            quick = COIL_S * self.coil_ohm / (self.coil_ohm + SUPPRESSOR_OHM)
            return self.release_s + quick * math.log(start / drop_v)
        return self.release_s


def _seconds(part: Part, name: str) -> float:
    got = tables.number(part, name) if part.kind == "relay" else STARTER_S
    return got


def armatures(network: Network, pace: Pace) -> tuple[Armature, ...]:
    """One for every relay and starter of the network, in its order."""
    parts = {key(p.name): p for p in network.circuit.parts}
    battery = next(p for p in network.circuit.parts if p.kind == "battery")
    rated = tables.number(battery, "emf_v")
    out = []
    for name in network.relays:
        p = parts[key(name)]
        quench = str(tables.value(p, "suppressed")) if p.kind == "relay" else "none"
        ohm = tables.number(p, "coil_ohm") if p.kind == "relay" else tables.number(p, "hold_ohm")
        operate, release = _seconds(p, "operate_s") * pace.operate, _seconds(p, "release_s") * pace.release
        out.append(Armature(operate, release, quench, ohm, rated))
    return tuple(out)


def form_of(part: Part) -> str:
    """Which gates a fuse obeys: a blade up to 40 A, else (and a fusible link) a maxi (common practice)."""
    return "blade" if part.kind == "fuse" and tables.number(part, "rating_a") <= 40 else "maxi"


def _curve(form: str, lag: float) -> list[tuple[float, float]]:
    """(x rating, s) through the gates: `lag` 0 the quick end of each, 1 the slow end, in between by ratio."""
    out: list[tuple[float, float]] = []
    least = 0.0  # the quick end where a gate states none: the let-through of the gate before
    for g in gates(form):
        times = g.percent / 100
        low = g.min_s if g.min_s is not None else least / times**2
        if g.max_s is None:
            if lag < 1:
                out.append((max(times, NEVER_BELOW), low))
            continue
        out.append((times, min(low, g.max_s) ** (1 - lag) * g.max_s**lag))
        least = low * times**2
    return out


def opens_after_s(rating_a: float, amps: float, form: str = "blade", lag: float = 0.5) -> float:
    """Time in which a cold fuse opens at a steady current, s; inf below its never-opens current.

    Between the gates of ISO 8820-3 straight in logarithms; beyond the last one the let-through A2s is kept.
    """
    times = abs(amps) / rating_a
    curve = _curve(form, lag)
    if times < curve[0][0]:
        return math.inf
    for (x0, t0), (x1, t1) in pairwise(curve):
        if times < x1:
            share = math.log(times / x0) / math.log(x1 / x0)
            return math.exp(math.log(t0) * (1 - share) + math.log(t1) * share)
    last, seconds = curve[-1]
    return seconds * (last / times) ** 2


def warmed(heat: float, seconds_to_open: float, dt: float) -> float:
    """How near a fuse is to opening (1: it opens) after `dt` s of a steady current."""
    if math.isinf(seconds_to_open):
        return heat * math.exp(-dt / COOLS_S)
    return heat + dt / seconds_to_open
