"""Evidence beyond the drive cycle: dead shorts, inrush, lost ground straps, half-way instants of timed
loads.

Each is a set of lanes of the same network, lived through from asleep. Rules look at them; nothing here
judges.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from amptrail.circuit.model import key
from amptrail.circuit.strap import metal
from amptrail.feed.evidence import Changes, Instant, Put, Step, Story, asleep_steps, live
from amptrail.feed.fitting import Fitted
from amptrail.feed.graph import Edge, edges
from amptrail.feed.shape import Chain, chains, feed_edges, grounded_in_sheet
from amptrail.reference.fuse import SHORT_VOLTS, SHORT_WIRE_C
from amptrail.reference.wire import copper_factor
from amptrail.solve.changes import Change, Kind
from amptrail.solve.network import Network

SHORT_OHM = 0.005  # a wire crushed against bare metal (common practice)
NO_LIMIT = 1e9
COLD = 1e4  # a lamp of 1e4 times the volts and 1e8 times the watts keeps its cold resistance at any voltage


@dataclass(frozen=True, eq=False)
class Extra:
    """`shorts`: by number of the chain, the vehicle with a dead short at its far end and fuses that never
    open. `cold`: filaments cold. `inrush`: filaments cold and motors standing, nothing trips; each fed and
    healthy. `lost`: by name of a ground joint or strap, the vehicle without it. `halves`: phases cut at the
    times of the sheet's timers."""

    shorts: dict[int, Story]
    cold: tuple[Story, Story]
    inrush: tuple[Story, Story]
    lost: dict[str, Story]
    halves: tuple[Story, Story]


def no_fuse_opens(net: Network) -> tuple[Change, ...]:
    """Fuses that carry anything: what they would have to open is then seen."""
    return tuple(Change(Kind.PARAM, name, "rating_a", NO_LIMIT) for name in net.fuses)


def cold_lamps(net: Network) -> tuple[Change, ...]:
    """Every filament at its cold resistance."""
    found = []
    for p in net.parameters:
        lamp = any(x.kind == "lamp" and key(x.name) == key(p.part) for x in net.circuit.parts)
        if lamp and p.name in ("rated_v", "rated_w"):
            found.append(
                Change(Kind.PARAM, p.part, p.name, p.value * (COLD if p.name == "rated_v" else COLD**2))
            )
    return tuple(found)


def _standing(net: Network) -> tuple[Change, ...]:
    return tuple(Change(Kind.SEIZED, p.name) for p in net.circuit.parts if p.kind == "motor")


def _hot_wires(f: Fitted) -> tuple[Change, ...]:
    """The feed's wires as warm as a short makes them, the battery as the reach table has it."""
    factor = copper_factor(SHORT_WIRE_C)
    wires = {key(p.name) for p in f.feed.parts if p.kind == "wire"}
    found = []
    for e in feed_edges(f):
        if key(e.part) in wires:
            found.append(
                Change(Kind.SERIES, e.branch, value=float(f.network.base.p[e.branch, 0]) * (factor - 1))
            )
    for p in f.circuit.parts:
        if p.kind == "battery":
            found.append(Change(Kind.PARAM, p.name, "emf_v", SHORT_VOLTS))
    return tuple(found)


def ground_copper(f: Fitted) -> tuple[Edge, ...]:
    """Wires, straps and joints of the sheet between metals that are all ground."""
    ground, own = grounded_in_sheet(f), {e.branch for e in feed_edges(f)}
    return tuple(
        e
        for e in edges(f.network)
        if e.branch not in own and e.a in ground and e.b in ground and e.kind in ("wire", "joint", "ground")
    )


def ground_chains(f: Fitted) -> tuple[Chain, ...]:
    """Chains that end on ground and carry no coil: new grounds and straps."""
    return tuple(c for c in chains(f) if c.end in grounded_in_sheet(f) and not c.control)


def half_steps(net: Network) -> tuple[Step, ...]:
    """Start asleep with each waking phase cut half-way between the times of the sheet's timers."""
    out = []
    times = sorted({float(t) for t in net.static.hold_s})
    for s in asleep_steps(net):
        cuts = [0.0, *[t for t in times if t < s.seconds], s.seconds]
        if s.pass_no == 0 or len(cuts) == 2:
            out.append(s)
            continue
        ends = [(a + b) / 2 for a, b in pairwise(cuts)] + [s.seconds]
        began = 0.0
        for end in ends:
            out.append(Step(s.pass_no, s.phase, end - began))
            began = end
    return tuple(out)


def extra_of(f: Fitted, corner: Changes = ()) -> Extra:
    """All of it at one corner (nominal by default)."""
    net, steps = f.network, asleep_steps(f.network)
    fed, healthy = f.lane("fed") + corner, f.lane("healthy") + corner
    free = no_fuse_opens(net)
    shorted = [(n, c) for n, c in enumerate(chains(f)) if not c.control and c.end not in grounded_in_sheet(f)]
    body = net.node(metal(net.circuit))
    lanes = [
        fed + free + _hot_wires(f) + (Change(Kind.BRIDGE, c.end, body, SHORT_OHM),) if c.end != body else fed
        for _, c in shorted
    ]
    many = len(lanes)
    cold = cold_lamps(net)
    strong = tuple(Put("limit", (n,), NO_LIMIT) for n in range(len(net.drivers)))
    lanes += [fed + free + cold, healthy + free + cold]
    rush = free + cold + _standing(net) + strong
    lanes += [fed + rush, healthy + rush]
    straps = ground_copper(f) if ground_chains(f) else ()
    lanes += [fed + free + (Change(Kind.OPEN, e.branch),) for e in straps]
    out = live(net, lanes, steps)

    def story(lane: int, state: str = "fed") -> Story:
        return Story("nominal", state, "asleep", None, net, steps, out, lane)

    halves = half_steps(net)
    half = live(net, [fed, healthy], halves)
    return Extra(
        {n: story(i) for i, (n, _) in enumerate(shorted)},
        (story(many), story(many + 1, "healthy")),
        (story(many + 2), story(many + 3, "healthy")),
        {net.branches[e.branch]: story(many + 4 + i) for i, e in enumerate(straps)},
        (
            Story("nominal", "fed", "asleep", None, net, halves, half, 0),
            Story("nominal", "healthy", "asleep", None, net, halves, half, 1),
        ),
    )


def contact_a(x: Instant) -> dict[str, float]:
    """Current of each relay contact, A: `K4.87`. A starter's own contact is no relay."""
    return {
        x.story.network.branches[e.branch]: abs(float(x.amps[e.branch]))
        for e in edges(x.story.network)
        if e.kind == "contact" and not x.story.network.branches[e.branch].endswith(".contact")
    }


def largest(story: Story, branch: int, phases: frozenset[int] | None = None) -> tuple[float, Instant]:
    """The largest current of a branch over a story, A, and when."""
    every = [x for x in story.instants if phases is None or x.phase in phases]
    best = max(every, key=lambda x: abs(float(x.amps[branch])))
    return float(np.abs(best.amps[branch])), best
