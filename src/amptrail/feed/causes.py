"""Why something is dead or alive: the trail of causes, followed backwards from the part through what
switches it.

Where the vehicle works (an instant of another start, or the healthy one) the current's way is known;
where it fails, the first gate on that way that is open is the cause: a relay not pulled in, an output
off, a fuse blown, a switch open. A relay or output has a way of its own, and so on, until a switch, or
until the trail bites its own tail: then the thing feeds itself.
"""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.circuit.model import Term, key
from amptrail.feed.evidence import Instant
from amptrail.feed.graph import FUSES, Edge, at, edges, grounded, spelled
from amptrail.feed.measures import drivers

SOURCES = ("battery", "alternator")
FLOWS_A = 1e-4


@dataclass(frozen=True, slots=True)
class Gate:
    """Something on the way that can be open: `kind` relay, output, module, switch, fuse; its name."""

    kind: str
    name: str
    point: str  # where its current comes from


def _follow(x: Instant, node: int, sign: float) -> list[Edge]:
    """The way of the largest current at each node: to where it comes from (`sign` -1) or goes to (+1)."""
    net, seen = x.story.network, {node}
    found: list[Edge] = []
    while sign < 0 or node != net.static.ground:
        best, most = None, FLOWS_A
        for e in at(net, node):
            amps = sign * float(x.amps[e.branch]) * (1.0 if e.a == node else -1.0)
            if amps > most and e not in found:
                best, most = e, amps
        if best is None:
            return found
        found.append(best)
        node = best.other(node)
        if node in seen or (sign < 0 and best.kind in SOURCES and node in grounded(net)):
            return found  # a battery on top of another gives what comes through the one below
        seen.add(node)
    return found


def upstream(x: Instant, node: int) -> list[Edge]:
    """The way the largest current takes from a source to a node, nearest the node first."""
    return _follow(x, node, -1.0)


def downstream(x: Instant, node: int) -> list[Edge]:
    """The way the largest current takes from a node to ground."""
    return _follow(x, node, 1.0)


def _gate(x: Instant, e: Edge) -> Gate | None:
    net = x.story.network
    point = spelled(net, e.a)
    if e.kind == "contact":
        return Gate("relay", e.part, point)
    if e.kind == "switch":
        return Gate("switch", e.part, point)
    if e.kind in FUSES:
        return Gate("fuse", e.part, point)
    for name, branch, _ in drivers(net):
        if e.branch == branch:
            return Gate("output", name, point)
    return None


def is_open(x: Instant, g: Gate) -> bool:
    """Whether the gate passes no current at an instant."""
    s, net = x.state, x.story.network
    if g.kind == "relay":
        return g.name not in s.relays_energised
    if g.kind == "output":
        return g.name not in s.drivers_on
    if g.kind == "fuse":
        return g.name in s.fuses_open
    if g.kind == "module":
        return g.name not in s.modules_awake
    rows = [n for n, name in enumerate(net.switches) if key(name) == key(g.name)]
    return not any(int(net.static.closed[x.phase, n]) for n in rows)


def way_of_load(x: Instant, a: Term, b: Term) -> list[Edge]:
    """The whole way of the current through a load between two points, both sides."""
    net = x.story.network
    return upstream(x, net.node(a)) + downstream(x, net.node(b))


def _way(x: Instant, g: Gate) -> list[Edge]:
    """What has to conduct for the gate to close: its coil's way, or the supplies and inputs of its module."""
    net = x.story.network
    if g.kind == "relay":
        coil = next(e for e in edges(net) if e.part == g.name and e.kind == "coil")
        a, b = (coil.a, coil.b) if float(x.amps[coil.branch]) >= 0 else (coil.b, coil.a)
        return upstream(x, a) + downstream(x, b)
    if g.kind == "module":
        found: list[Edge] = []
        for e in edges(net):
            if key(e.part) == key(g.name) and e.kind == "module" and float(x.amps[e.branch]) > FLOWS_A:
                found += upstream(x, e.a)
        return found
    return []


def trail(bad: Instant, good: Instant, way: list[Edge], seen: tuple[str, ...] = ()) -> list[tuple[Gate, str]]:
    """Gates that are open in `bad` on the way that conducts in `good`, each the cause of the one before. The
    word beside a gate: `open`, or `itself` when the trail comes back to something it went through."""
    gates = [g for e in way if (g := _gate(good, e)) is not None]
    for g in gates:
        if not is_open(bad, g):
            continue
        if g.name in seen:
            return [(g, "itself")]
        if g.kind in ("switch", "fuse"):
            return [(g, "open")]
        if g.kind == "output":
            module = g.name.partition(".")[0]
            m = Gate("module", module, "")
            if is_open(bad, m):
                deeper = trail(bad, good, _way(good, m), (*seen, g.name, module))
                return [(g, "open"), (m, "open"), *deeper]
            return [(g, "open")]
        return [(g, "open"), *trail(bad, good, _way(good, g), (*seen, g.name))]
    return []


def words(causes: list[tuple[Gate, str]]) -> str:
    """The trail as the second half of a sentence, empty when nothing is known."""
    said = []
    for n, (g, word) in enumerate(causes):
        if word == "itself":
            said.append(f"its current comes through {g.name} itself, which is not on yet")
        elif g.kind == "relay":
            said.append(f"relay {g.name} does not pull in")
        elif g.kind == "output":
            said.append(f"the output {g.name} is off")
        elif g.kind == "module":
            said.append(f"the controller {g.name} is not awake")
        elif g.kind == "fuse":
            said.append(f"fuse {g.name} has opened")
        else:
            said.append(f"switch {g.name} is open then")
        if n == 3:
            break
    return ", because ".join(said)


def held_by(x: Instant, word: str, feed_parts: frozenset[str]) -> str:
    """What keeps a relay, output or signal (`relay.K`, `drv.M.x`, `sig.M.x`) on at an instant, as half a
    sentence; `feed_parts` are keys of the feed's own parts. Empty when nothing is known."""
    kind, _, name = word.partition(".")
    g = Gate("relay", name, "") if kind == "relay" else Gate("module", name.partition(".")[0], "")
    way = _way(x, g)
    through = dict.fromkeys(e.part for e in way if key(e.part) in feed_parts)
    gates = [found.name for e in way if (found := _gate(x, e)) is not None]
    if g.name in [n.partition(".")[0] for n in gates]:
        return f"it gets its current through {g.name} itself" + (" and the feed" if through else "")
    if through:
        return "it gets its current through the feed"
    return f"it gets its current through {gates[-1]}" if gates else ""
