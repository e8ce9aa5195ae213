"""How long things take in order `time`: armatures, fuse links, the starting dip.

Sources stand beside each number; the gates are ISO 8820-3's, the dip ISO 16750-2's (`reference`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Part
from amptrail.reference.fuse import gates

COIL_S = 0.0065  # L/R of a relay winding (FACTS 3: fits the measured release times)
FREEWHEEL_V = 0.7  # across a suppression diode (FACTS 3)
QUENCH_OHM = 680.0  # a suppression resistor (FACTS 3)
PLUNGER_S = 0.03  # of a starter, in and out (common practice)
SLOWEST = 5.0  # pull-in at the very edge, x the stated time (common practice)
LOOK_S = 0.010  # modules look this often (NUMERICS: sampling 10 ms)
BOOT_S = 0.100  # from supply good to a module's first look (FACTS 5, memory)
RIDE_S = 0.010  # how long a module lives on the capacitor behind its supply (common practice)
CARRIED = 1.10  # x rating: what a fuse carries for ever (ISO 8820-3)
COOLS_S = 20.0  # a warm link cools with this time constant (common practice)
BLADE_MOST_A = 40.0  # larger fuses obey the gates of a maxi (common practice)
DIP = "I"  # level of the starting dip


@dataclass(frozen=True, slots=True)
class Armature:
    """The times of a relay or starter, as the sheet has it (a fault changes its volts, not its build)."""

    operate_s: float
    release_s: float
    quench: str
    coil_ohm: float
    rated_v: float

    def made_after(self, volts: float, pull_v: float) -> float:
        """s until it pulls in: the current climbs with L/R to what moves it."""
        slowest = SLOWEST * self.operate_s
        if min(volts, self.rated_v) <= pull_v:
            return slowest
        climb = math.log1p(-pull_v / volts) / math.log1p(-pull_v / self.rated_v)
        return min(self.operate_s * climb, slowest)

    def freed_after(self, before_v: float, now_v: float, drop_v: float) -> float:
        """s until it lets go: the current dies, at once without a path beside the winding."""
        high = max(before_v, drop_v)
        if abs(now_v) >= drop_v / 10:  # still fed: it sinks towards the new volts
            fall = (high - now_v) / max(drop_v - now_v, 1e-9)
            return self.release_s + COIL_S * math.log(max(fall, 1.0))
        if self.quench == "diode":
            return self.release_s + COIL_S * math.log((high + FREEWHEEL_V) / (drop_v + FREEWHEEL_V))
        if self.quench == "resistor":
            share = self.coil_ohm / (self.coil_ohm + QUENCH_OHM)
            return self.release_s + COIL_S * share * math.log(high / drop_v)
        return self.release_s


def armature(circuit: Circuit, p: Part) -> Armature:
    """The times of one relay or starter of a sheet."""
    battery = next(x for x in circuit.parts if x.kind == "battery")
    rated = tables.number(battery, "emf_v")
    if p.kind == "starter":
        return Armature(PLUNGER_S, PLUNGER_S, "none", tables.number(p, "hold_ohm"), rated)
    times = tables.number(p, "operate_s"), tables.number(p, "release_s")
    return Armature(*times, str(tables.value(p, "suppressed")), tables.number(p, "coil_ohm"), rated)


def form_of(p: Part) -> str:
    """Which gates a fuse of a sheet obeys."""
    return "blade" if p.kind == "fuse" and tables.number(p, "rating_a") <= BLADE_MOST_A else "maxi"


def curve(form: str) -> list[tuple[float, float]]:
    """(x rating, s) of a middling fuse: the mean, by ratio, of the two ends of every gate. Where a gate has
    no slow end, its quick one; where it has no quick end, the let-through of the gate before."""
    points, let_through = [], 0.0
    for g in gates(form):
        times = g.percent / 100
        quick = g.min_s if g.min_s is not None else let_through / times**2
        if g.max_s is None:
            points.append((max(times, CARRIED), quick))
        else:
            points.append((times, math.sqrt(min(quick, g.max_s) * g.max_s)))
            let_through = quick * times**2
    return points


def opens_after(times: float, form: str) -> float:
    """s in which a cold fuse opens at so many times its rating; inf when it never does. Straight in
    logarithms between the gates; beyond the last the let-through is kept."""
    points = curve(form)
    if times < points[0][0]:
        return math.inf
    for (x, t), (x_next, t_next) in pairwise(points):
        if times < x_next:
            slope = math.log(t_next / t) / math.log(x_next / x)
            return t * math.exp(slope * math.log(times / x))
    x, t = points[-1]
    return t * (x / times) ** 2


def warmer(heat: float, opens_s: float, dt: float) -> float:
    """How near a link is to melting (1) after `dt` s of a current that opens a cold one in `opens_s`."""
    return heat * math.exp(-dt / COOLS_S) if math.isinf(opens_s) else heat + dt / opens_s
