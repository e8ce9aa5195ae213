"""Which terminals are one metal: paths and nets joined into nodes, with one canonical terminal each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import BODY, Circuit, Net, Path, Term, key


@dataclass(frozen=True)
class Wiring:
    """`node_of` maps a terminal key to its node number; `names[n]` is the canonical terminal of node n
    (the first written in the sheet); `net_names[n]` the names given to it by `net` lines; `terms` every
    terminal as it was first written."""

    node_of: dict[tuple[str, str], int]
    names: tuple[Term, ...]
    net_names: tuple[tuple[str, ...], ...]
    terms: tuple[Term, ...]

    def node(self, term: Term) -> int | None:
        """The node of a terminal or of a net name (Term with part ""), None when nothing is joined there."""
        return self.node_of.get((key(term.part), key(term.name)))


def _mentions(paths: Iterable[Path], nets: Iterable[Net]) -> Iterable[tuple[Term, ...]]:
    """Groups of terminals that are one metal, in the order written."""
    for path in paths:
        for i, hop in enumerate(path.hops):
            yield (Term(hop.part, hop.a),)
            if hop.b != hop.a:
                yield (Term(hop.part, hop.b),)
            if i + 1 < len(path.hops):
                after = path.hops[i + 1]
                yield (Term(hop.part, hop.b), Term(after.part, after.a))
    for net in nets:
        yield (Term("", net.name), *net.terms)


@lru_cache(maxsize=64)
def wiring(circuit: Circuit) -> Wiring:
    """Join every path and net of the circuit. `BODY` and the battery posts exist even if unmentioned."""
    parent: dict[tuple[str, str], tuple[str, str]] = {}
    first: dict[tuple[str, str], Term] = {}

    def find(k: tuple[str, str]) -> tuple[str, str]:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    def add(t: Term) -> tuple[str, str]:
        k = (key(t.part), key(t.name))
        if k not in parent:
            parent[k] = k
            first[k] = t
        return k

    for group in _mentions(circuit.paths, circuit.nets):
        keys = [add(t) for t in group]
        for k in keys[1:]:
            parent[find(k)] = find(keys[0])
    for part in circuit.parts:
        if part.kind == "battery":
            add(Term(part.name, "+"))
            add(Term(part.name, "-"))
    add(BODY)

    node_of: dict[tuple[str, str], int] = {}
    names: list[Term] = []
    nets: list[list[str]] = []
    root_node: dict[tuple[str, str], int] = {}
    for k, term in first.items():
        root = find(k)
        if root not in root_node:
            root_node[root] = len(names)
            names.append(term)
            nets.append([])
        n = root_node[root]
        node_of[k] = n
        if not term.part:
            nets[n].append(term.name)
        elif not names[n].part and names[n] != BODY:
            names[n] = term  # prefer a real terminal over a net's name
    return Wiring(node_of, tuple(names), tuple(tuple(x) for x in nets), tuple(first.values()))
