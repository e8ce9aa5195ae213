"""Where a way is broken: the stretch of it that holds the fault, and the two ends a bridge would join."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from amptrail.circuit.model import BODY, Circuit, Fault, Must, Term, key
from amptrail.errors import ModelError
from amptrail.feed.graph import CLOSERS, FUSES, Edge, at, grounded
from amptrail.feed.measures import drivers
from amptrail.feed.search.need import Way, every_way, ways
from amptrail.sheet.words import name_text, term_text
from amptrail.solve.network import Network

COPPER = ("wire", "joint", "connector", "box", "ground")
PLAIN = (*COPPER, "splice")
AT_A_POINT = ("to_ground", "to_supply", "to_point", "swapped")


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a way that is to be bridged. `near` is its end towards the load, `far` the other; `links` what
    lies between, nearest the load first. `plain`: nothing but copper, so a wire may replace it; `cuts`: what
    isolates it at both ends, as a feed's text has it. `side`: feed (towards the source) or ground."""

    way: Way
    must: Must
    side: Literal["feed", "ground"]
    near: int
    far: int
    links: tuple[Edge, ...]
    plain: bool
    cuts: tuple[str, ...]


def touched(net: Network, fault: Fault) -> frozenset[int]:
    """Branches a fault opens, weakens or leaks from."""
    name = str(fault.at) if fault.at.name else fault.at.part
    if fault.mode in AT_A_POINT:
        try:
            node = net.node(fault.at if fault.at.name else Term(fault.at.part, "in"))
        except ModelError:
            return frozenset()
        return frozenset(e.branch for e in at(net, node) if e.kind in (*PLAIN, *CLOSERS, *FUSES))
    for driver, branch, _ in drivers(net):
        if key(driver) == key(name):
            return frozenset((branch,))
    rows = frozenset(net.part_branches.get(key(fault.at.part), ()))
    winding = any(key(r) == key(fault.at.part) for r in net.relays) and key(fault.at.name) == "coil"
    if key(name) in net.branch_of and not winding:
        return frozenset((net.branch(name),))
    if winding or fault.mode in ("stuck_off", "stuck_on"):  # a dead winding is a contact that never closes
        return frozenset(b for b in rows if not net.branches[b].endswith((".coil", ".diode", ".resistor")))
    return rows


def _nodes(start: int, run: Sequence[Edge]) -> list[int]:
    out = [start]
    for e in run:
        out.append(e.other(out[-1]))
    return out


def _alone(net: Network, node: int, run: Sequence[Edge]) -> bool:
    """Whether nothing else hangs on a metal than the run itself; body is never only one run's."""
    if node == net.node(BODY):
        return False
    mine = {e.branch for e in run}
    return sum(e.branch not in mine for e in at(net, node)) == 0


def _grown(net: Network, start: int, run: Sequence[Edge], first: int, last: int) -> tuple[int, int]:
    """The stretch made longer while copper follows copper and no other part hangs on the metal between."""
    nodes = _nodes(start, run)
    while first > 0 and run[first - 1].kind in COPPER and _alone(net, nodes[first], run):
        first -= 1
    while last + 1 < len(run) and run[last + 1].kind in COPPER and _alone(net, nodes[last + 1], run):
        last += 1
    return first, last


def _stretch(
    net: Network, w: Way, must: Must, side: Literal["feed", "ground"], first: int, last: int, leaks: bool
) -> Stretch:
    run, start = (w.up, w.a) if side == "feed" else (w.down, w.b)
    nodes, links = _nodes(start, run), run[first : last + 1]
    wires = [name_text(e.part) for e in links if e.kind == "wire"]
    if leaks:  # the metal that leaks must go: the first and last link whatever they are
        ends = (links[0], links[-1])
        wires = [_cut_text(net, e) for e in ends]
    cuts = tuple(dict.fromkeys((wires[0], wires[-1]))) if wires else ()
    return Stretch(w, must, side, nodes[first], nodes[last + 1], tuple(links),
                   all(e.kind in PLAIN for e in links), cuts)  # fmt: skip


def _cut_text(net: Network, e: Edge) -> str:
    """What is to be opened, as a feed says it: a wire by name, else the branch (`X7.4`)."""
    head, dot, tail = net.branches[e.branch].rpartition(".")
    return name_text(e.part) if e.kind in ("wire", "joint") or not dot else term_text(Term(head, tail))


def stretches(circuit: Circuit, net: Network, must: Must, against: Sequence[Fault]) -> list[Stretch]:
    """Where the function's ways are broken by the faults, in the last phase in which they pass there: the
    whole run of copper, and the fault alone where that is shorter."""
    bad = frozenset(b for f in against for b in touched(net, f))
    leaks = any(f.mode in AT_A_POINT for f in against)
    for some in every_way(circuit, must):
        if found := _on(net, some, must, bad, leaks):
            return found
    return []


def _on(net: Network, some: Sequence[Way], must: Must, bad: frozenset[int], leaks: bool) -> list[Stretch]:
    """Where these ways are broken."""
    found: dict[tuple[int, int], Stretch] = {}
    for w in some:
        for side, run, start in (("feed", w.up, w.a), ("ground", w.down, w.b)):
            hit = [n for n, e in enumerate(run) if e.branch in bad]
            if not hit:
                continue
            whole = _grown(net, start, run, hit[0], hit[-1])
            for ends in dict.fromkeys((whole, (hit[0], hit[-1]))):
                s = _stretch(net, w, must, side, *ends, leaks)  # type: ignore[arg-type]
                found.setdefault((s.near, s.far), s)
    return list(found.values())


def unknown(circuit: Circuit, net: Network, musts: Sequence[Must]) -> tuple[Fault, ...]:
    """What is taken as broken when nobody said: the last wire before the load that all functions share, on
    the feed side where there is one; without a shared one the last wire of each."""
    runs = [(_leads(net, w.up), _leads(net, w.down)) for m in musts for w in ways(circuit, m)[:1]]
    for side in (0, 1):
        shared = [e for e in runs[0][side] if all(e in r[side] for r in runs)] if runs else []
        if shared:
            return (_open_at(net, shared[0]),)
    return tuple(dict.fromkeys(_open_at(net, r[0][0]) for r in runs if r[0]))


def _leads(net: Network, run: Sequence[Edge]) -> list[Edge]:
    """Wires of a run that are not all ground, else its joints."""
    ground = grounded(net)
    wires = [e for e in run if e.kind == "wire" and not {e.a, e.b} <= ground]
    return wires or [e for e in run if e.kind in COPPER and not {e.a, e.b} <= ground]


def _open_at(net: Network, e: Edge) -> Fault:
    if e.kind == "wire":
        return Fault("open", Term(e.part, ""))
    part, dot, rest = net.branches[e.branch].partition(".")
    return Fault("open", Term(part, rest if dot else ""))
