"""The network as a graph of named branches: what a metal is joined to through wires, fuses, switches."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit import tables
from amptrail.circuit.model import BODY, Part, Term, key
from amptrail.solve.network import Network

RUN = ("wire", "joint", "connector", "box", "splice", "ground")  # copper without a protector or a switch
FUSES = ("fuse", "link", "polyfuse")
CLOSERS = ("switch", "contact")  # what a person or a coil closes


def opens_a(part: Part) -> float:
    """Amperes at which a part that protects does so: the rating of a fuse, a polymer fuse's trip current."""
    return tables.number(part, "trip_a" if part.kind == "polyfuse" else "rating_a")


@dataclass(frozen=True, slots=True)
class Edge:
    """One branch: its number, the part it belongs to, the kind that matters here, its two nodes."""

    branch: int
    part: str
    kind: str
    a: int
    b: int

    def other(self, node: int) -> int:
        return self.b if node == self.a else self.a


@lru_cache(maxsize=64)
def edges(net: Network) -> tuple[Edge, ...]:
    """Every branch of the network with the part it belongs to."""
    kinds = {key(p.name): p for p in net.circuit.parts}
    owner: dict[int, str] = {}
    for part, rows in net.part_branches.items():
        for n in rows:
            # `K1.coil` belongs to both K1 and, were there one, a part called `K1.coil`: the longest name wins
            if n not in owner or len(part) > len(owner[n]):
                owner[n] = part
    found = []
    for n, name in enumerate(net.branches):
        p = kinds.get(owner.get(n, ""))
        found.append(
            Edge(
                n,
                p.name if p else name,
                _kind(p.kind if p else "", key(name).rpartition(".")[2], name),
                int(net.base.na[n]),
                int(net.base.nb[n]),
            )
        )
    return tuple(found)


def _kind(kind: str, tail: str, name: str) -> str:
    if kind in ("relay", "starter"):
        return (
            "coil"
            if tail in ("coil", "pull")
            else "quench"
            if tail in ("diode", "resistor")
            else ("contact" if tail in ("87", "87a", "contact") else kind)
        )
    if kind == "battery" and tail == "crank":
        return "starter"
    return kind


def nodes_of(net: Network, part: str) -> tuple[int, ...]:
    """Nodes of every terminal of a part that something is joined to."""
    return tuple(dict.fromkeys(n for (p, _), n in net.node_index.items() if p == key(part)))


def reach(
    net: Network, start: Iterable[int], through: Collection[str], without: Collection[int] = ()
) -> dict[int, Edge | None]:
    """Nodes reached from `start` through branches of the given kinds, each with the edge that led there."""
    found: dict[int, Edge | None] = dict.fromkeys(start)
    queue = list(found)
    near = _near(net)
    while queue:
        node = queue.pop(0)
        for e in near.get(node, ()):
            far = e.other(node)
            if e.kind in through and e.branch not in without and far not in found:
                found[far] = e
                queue.append(far)
    return found


@lru_cache(maxsize=64)
def _near(net: Network) -> dict[int, tuple[Edge, ...]]:
    found: dict[int, list[Edge]] = {}
    for e in edges(net):
        found.setdefault(e.a, []).append(e)
        found.setdefault(e.b, []).append(e)
    return {n: tuple(x) for n, x in found.items()}


def at(net: Network, node: int) -> tuple[Edge, ...]:
    """Branches that end on a node."""
    return _near(net).get(node, ())


def way(found: dict[int, Edge | None], node: int) -> list[Edge]:
    """The edges from the start of a `reach` to a node, nearest the start first."""
    out: list[Edge] = []
    while (e := found[node]) is not None:
        out.append(e)
        node = e.other(node)
    return out[::-1]


def plus(net: Network) -> int:
    """The node of the first battery's plus post."""
    return net.node(Term(next(p.name for p in net.circuit.parts if p.kind == "battery"), "+"))


@lru_cache(maxsize=64)
def grounded(net: Network) -> frozenset[int]:
    """Nodes joined to body or battery minus by copper alone."""
    feed_free = reach(net, [net.static.ground, net.node(BODY)], RUN)
    return frozenset(feed_free)


def spelled(net: Network, node: int) -> str:
    """A name for a node: the first terminal written there."""
    if node < len(net.wires.names):
        return str(net.wires.names[node])
    for (part, name), n in net.node_index.items():
        if n == node:
            return f"{part}.{name}" if name else part
    return f"node {node}"
