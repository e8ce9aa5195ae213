"""The shape of a feed: its chains from source to end, what is in them, and what kind of feed it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from amptrail.circuit import tables
from amptrail.circuit.model import BODY, Part, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.errors import ModelError
from amptrail.feed.fitting import Fitted
from amptrail.feed.graph import FUSES, RUN, Edge, edges, opens_a, plus, reach, way
from amptrail.solve.network import Network

Kind = Literal["overlay", "ground", "jumper", "relay", "isolation"]
MOST_FUSED_LATE_M = 0.2  # unfused wire allowed at the battery


@dataclass(frozen=True, slots=True)
class Chain:
    """One conductor of the feed between two points of the sheet, in the order of current where that is known:
    `nodes[0]` source, `nodes[-1]` end. `control`: it is the coil lead of an added relay."""

    nodes: tuple[int, ...]
    links: tuple[Edge, ...]
    parts: tuple[Part, ...]

    @property
    def source(self) -> int:
        return self.nodes[0]

    @property
    def end(self) -> int:
        return self.nodes[-1]

    @property
    def control(self) -> bool:
        return any(e.kind == "coil" for e in self.links)

    @property
    def wires(self) -> tuple[Part, ...]:
        return tuple(p for p in self.parts if p.kind == "wire")

    @property
    def fuses(self) -> tuple[Part, ...]:
        return tuple(p for p in self.parts if p.kind in FUSES)

    def turned(self) -> Chain:
        return Chain(self.nodes[::-1], self.links[::-1], self.parts[::-1])

    def unfused_m(self) -> float:
        """Metres of wire before the chain's first fuse; all of it without one."""
        total = 0.0
        for p in self.parts:
            if p.kind in FUSES:
                return total
            if p.kind == "wire":
                total += length_m(p)
        return total


def length_m(wire: Part) -> float:
    """Length of a feed's wire, m (the table's when nothing is said)."""
    return tables.number(wire, "length_m")


def area_mm2(wire: Part) -> float | None:
    """Area of a feed's wire, mm2; None where only its resistance is told."""
    if wire.said("area_mm2") is None and wire.said("ohm") is not None:
        return None
    return tables.number(wire, "area_mm2")


def sheet_nodes(f: Fitted) -> frozenset[int]:
    """Nodes of the whole circuit that the sheet itself names."""
    return _sheet_nodes(f)


@lru_cache(maxsize=64)
def _sheet_nodes(f: Fitted) -> frozenset[int]:
    own = {key(p.name) for p in f.feed.parts}
    w = wiring(f.sheet)
    found = set()
    for term_key in w.node_of:
        n = f.network.node_index.get(term_key)
        if n is not None:
            found.add(n)
    return frozenset(found | {n for (p, _), n in f.network.node_index.items() if p and p not in own})


@lru_cache(maxsize=64)
def feed_edges(f: Fitted) -> tuple[Edge, ...]:
    """Branches the feed brings (a relay's quench left out)."""
    own = {key(p.name) for p in f.feed.parts}
    return tuple(e for e in edges(f.network) if key(e.part) in own and e.kind != "quench")


def _walk(f: Fitted, start: int, ends: frozenset[int]) -> Iterator[tuple[tuple[int, ...], tuple[Edge, ...]]]:
    """Every way through the feed from one sheet point to another."""
    stack: list[tuple[tuple[int, ...], tuple[Edge, ...]]] = [((start,), ())]
    while stack:
        nodes, links = stack.pop()
        for e in feed_edges(f):
            if e in links or nodes[-1] not in (e.a, e.b):
                continue
            far = e.other(nodes[-1])
            if far in nodes:
                continue
            longer = ((*nodes, far), (*links, e))
            if far in ends:
                yield longer
            else:
                stack.append(longer)


@lru_cache(maxsize=64)
def chains(f: Fitted) -> tuple[Chain, ...]:
    """The feed's chains, each once, source first: by what the sheet joins its ends to, else as written."""
    ends = sheet_nodes(f)
    parts = {key(p.name): p for p in f.feed.parts}
    touched = sorted({n for e in feed_edges(f) for n in (e.a, e.b)} & ends)
    found: list[Chain] = []
    seen: set[frozenset[int]] = set()
    for start in touched:
        for nodes, links in _walk(f, start, ends):
            name = frozenset(e.branch for e in links)
            if name in seen:
                continue
            seen.add(name)
            mine = tuple(parts[key(e.part)] for e in links)
            chain = _directed(f, Chain(nodes, links, mine))
            if chain is not None:
                found.append(chain)
    order = {key(p.name): i for i, p in enumerate(f.feed.parts)}
    return tuple(sorted(found, key=lambda c: (c.control, min(order[key(p.name)] for p in c.parts))))


def _written(f: Fitted, c: Chain) -> bool:
    """Whether the chain runs as its first part is written: a to b."""
    return c.links[0].a == c.nodes[0]


def _directed(f: Fitted, c: Chain) -> Chain | None:
    """As its diodes allow (None: not at all); a grounded end is never the source; else as written."""
    ways = {e.a == c.nodes[i] for i, e in enumerate(c.links) if e.kind == "diode"}
    if ways:
        return None if len(ways) > 1 else c if True in ways else c.turned()
    ground = grounded_in_sheet(f)
    if (c.source in ground) != (c.end in ground):
        return c.turned() if c.source in ground else c
    first = plus(f.network)
    if (c.source == first) != (c.end == first):
        return c.turned() if c.end == first else c
    return c if _written(f, c) else c.turned()


@lru_cache(maxsize=64)
def grounded_in_sheet(f: Fitted) -> frozenset[int]:
    """Nodes joined to ground by the sheet's own copper, what the feed cuts or the fault opens left out."""
    without = {e.branch for e in feed_edges(f)} | opened(f)
    net = f.network
    return frozenset(reach(net, [net.static.ground, net.node(BODY)], RUN, without))


@lru_cache(maxsize=64)
def opened(f: Fitted) -> frozenset[int]:
    """Branches the fault opens or the feed cuts."""
    net, found = f.network, set()
    names = [str(x.at) if x.at.name else x.at.part for x in f.against if x.mode in ("open", "missing")]
    for name in (*names, *f.feed.cuts):
        if key(name) in net.branch_of:
            found.add(net.branch(name))
        else:
            found |= set(net.part_branches.get(key(name), ()))
    return frozenset(found)


def old_way(f: Fitted, c: Chain) -> list[Edge] | None:
    """The sheet's own run of wires, joints, cavities and fuses between the ends of a chain; None: there is
    none."""
    without = {e.branch for e in feed_edges(f)}
    found = reach(f.network, [c.source], (*RUN, *FUSES), without)
    return way(found, c.end) if c.end in found and c.end != c.source else None


def kind(f: Fitted) -> Kind:
    """What kind of feed it is. overlay: wire end to end beside one run of the sheet, with the same protection
    and no thinner; ground: everything ends on ground; relay: with an added relay; else a jumper."""
    every = chains(f)
    if not every:
        return "isolation"
    if all(is_overlay(f, c) for c in every):
        return "overlay"
    if all(c.end in grounded_in_sheet(f) and not c.control for c in every):
        return "ground"
    return "relay" if any(p.kind == "relay" for p in f.feed.parts) else "jumper"


def _on_the_way(f: Fitted, c: Chain) -> bool:
    """Whether the sheet's own way to the end of a chain leads through its source (or, of a ground, the way
    of its source to ground through its end): only then is it the same circuit, and not another branch."""
    net, off = f.network, {e.branch for e in feed_edges(f)}
    if c.end in grounded_in_sheet(f):
        found = reach(net, [net.static.ground, net.node(BODY)], RUN, off)
        first, last = c.end, c.source
    else:
        found = reach(net, [plus(net)], (*RUN, *FUSES, "switch", "contact"), off)
        first, last = c.source, c.end
    if last not in found:
        return False
    nodes = {last} | {n for e in way(found, last) for n in (e.a, e.b)}
    return first in nodes


def is_overlay(f: Fitted, c: Chain) -> bool:
    """A chain of wire (and a fuse no larger) laid end to end beside one run of the sheet, no thinner."""
    if any(p.kind not in ("wire", "joint", *FUSES) for p in c.parts):
        return False
    run = old_way(f, c)
    if not run or not _on_the_way(f, c):
        return False
    net_parts = {key(p.name): p for p in f.sheet.parts}
    fuses = [net_parts[key(e.part)] for e in run if e.kind in FUSES]
    if bool(fuses) != bool(c.fuses):
        return False
    if fuses and min(map(opens_a, c.fuses)) > min(map(opens_a, fuses)):
        return False
    old = [a for e in run if e.kind == "wire" and (a := area_mm2(net_parts[key(e.part)])) is not None]
    mine = [a for p in c.wires if (a := area_mm2(p)) is not None]
    return bool(mine) and (not old or min(mine) >= min(old) - 1e-9)


def _named(net: Network, name: str) -> int | None:
    """The node of a metal that has a name of its own (body, a `net` line)."""
    try:
        return net.node(Term("", name))
    except ModelError:
        return None


def point_name(net: Network, f: Fitted, node: int) -> str:
    """A node of the feed by the name its author gave: the term of its own path, else the sheet's."""
    for path in f.feed.paths:
        for hop in path.hops:
            foreign = hop.part and key(hop.part) not in {key(p.name) for p in f.feed.parts}
            if foreign and net.node_index.get((key(hop.part), key(hop.a))) == node:
                return str(Term(hop.part, hop.a))
            if not hop.part and _named(net, hop.a) == node:
                return hop.a
    names = wiring(f.circuit).net_names
    if node < len(names) and names[node] and f.circuit.laws == "oracle-1":
        return names[node][0]
    return str(net.wires.names[node]) if node < len(net.wires.names) else f"node {node}"
