"""Where a feed may begin, how far that is, and how to say it."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from amptrail.circuit import tables
from amptrail.circuit.model import BODY, Circuit, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.feed.evidence import Story
from amptrail.feed.graph import CLOSERS, FUSES, RUN, edges, grounded, plus, reach, way
from amptrail.feed.search.need import healthy_life
from amptrail.reference.sizing import FUSE_SHARE
from amptrail.sheet.words import term_text
from amptrail.solve.network import Network

UNKNOWN_M, SLACK_M = 2.0, 0.2  # a lead nobody can measure on the drawing; a hand more than the loom has
LIVE_SHARE, DEAD_V = 0.6, 1.0  # of the battery's volts
HUBS = ("splice", "ground")
UNTAPPED = ("restraint", "high-voltage", "brakes", "steering", "immobiliser")
# how easily a lead is put there, best first (common practice)
EASY = (
    "fuse",
    "battery",
    "link",
    "ground",
    "splice",
    "joint",
    "relay",
    "switch",
    "motor",
    "lamp",
    "connector",
)


@dataclass(frozen=True, slots=True)
class Source:
    """A point to take current from: its text, its metal, when it is live (by number of the instant)."""

    text: str
    node: int
    live: tuple[bool, ...]
    always: bool


def _rank(kind: str, terminal: str) -> tuple[int, int]:
    place = EASY.index(kind) if kind in EASY else len(EASY)
    return place, 0 if terminal in ("out", "+", "") else 1


@lru_cache(maxsize=16)
def spellings(circuit: Circuit) -> tuple[Term, ...]:
    """Every terminal the sheet mentions, as its parts and paths spell it."""
    names = {key(p.name): p.name for p in circuit.parts}
    said = [Term(h.part, t) for path in circuit.paths for h in path.hops for t in (h.a, h.b)]
    said += [t for n in circuit.nets for t in n.terms]
    return tuple(dict.fromkeys(Term(names[key(t.part)], t.name) for t in said if key(t.part) in names))


@lru_cache(maxsize=16)
def points(circuit: Circuit) -> dict[int, str]:
    """The text of the best point to reach each metal by; metals no lead may touch are left out."""
    net, w = healthy_life(circuit).network, wiring(circuit)
    kinds = {key(p.name): p for p in circuit.parts}
    barred = {w.node(line.at) for line in circuit.never_probe}
    untouched = {key(r.part) for r in circuit.refuses if r.refuse_class in UNTAPPED}
    best: dict[int, tuple[tuple[int, int], str]] = {}
    for term in spellings(circuit):
        p, node = kinds.get(key(term.part)), net.node_index.get((key(term.part), key(term.name)))
        if p is None or node is None or p.kind in ("wire", "module") or key(p.name) in untouched:
            continue
        if w.node(term) in barred:
            continue
        # a lead to a splice or ground takes a leg of its own
        text = term_text(Term(p.name, "") if p.kind in HUBS else term)
        rank = _rank(p.kind, term.name)
        # the middle of a splice or ground is reached as its legs are
        hub = net.node_index.get((key(p.name), "")) if p.kind in HUBS else None
        for n in (node, hub):
            if n is not None and (n not in best or (rank, text) < best[n]):
                best[n] = (rank, text)
    return {n: text for n, (_, text) in best.items()}


def point(circuit: Circuit, net: Network, node: int) -> str | None:
    """A metal as a feed's text names it; None when no lead may touch it or it has no name there."""
    if node in points(circuit):
        return points(circuit)[node]
    modules = {key(p.name) for p in circuit.parts if p.kind == "module"}
    for term in spellings(circuit):
        if net.node_index.get((key(term.part), key(term.name))) == node and key(term.part) in modules:
            return term_text(term)
    return "body" if node == net.node(BODY) else None


@lru_cache(maxsize=16)
def sources(circuit: Circuit) -> tuple[Source, ...]:
    """Every point that is live at some time in the healthy vehicle, one for each run of copper."""
    life = healthy_life(circuit)
    net, ground = life.network, grounded(life.network)
    volts = np.stack([x.volts for x in life.instants])
    full = volts[:, plus(net)]
    live = volts > LIVE_SHARE * full[:, None]
    dead = np.abs(volts) < DEAD_V
    found: dict[int, Source] = {}
    for node, text in points(circuit).items():
        if node in ground or not live[:, node].any() or not (live | dead)[:, node].all():
            continue
        group = min(reach(net, [node], RUN))
        new = Source(text, node, tuple(map(bool, live[:, node])), bool(live[:, node].all()))
        old = found.get(group)
        if old is None or _order(circuit, new) < _order(circuit, old):
            found[group] = new
    return tuple(sorted(found.values(), key=lambda s: s.text))


def _order(circuit: Circuit, s: Source) -> tuple[tuple[int, int], str]:
    part, _, terminal = s.text.strip("`").partition(".")
    kind = next((p.kind for p in circuit.parts if key(p.name) == key(part)), "")
    return _rank(kind, terminal), s.text


@lru_cache(maxsize=512)
def metres(circuit: Circuit, a: int, b: int) -> float:
    """How long a lead from one metal to another is: along the looms of the drawing, ground left out, and a
    hand more; 2 m where the drawing does not join them."""
    net = healthy_life(circuit).network
    ground = grounded(net) - {a, b}
    parts = {key(p.name): p for p in circuit.parts}
    best, queue = {a: 0.0}, [(0.0, a)]
    while queue:
        far, node = heapq.heappop(queue)
        if node == b:
            return max(0.3, round(far + SLACK_M, 1))
        if far > best[node]:
            continue
        for e in edges(net):
            if node not in (e.a, e.b) or e.other(node) in ground:
                continue
            p = parts.get(key(e.part))
            step = far + (tables.number(p, "length_m") if p is not None and p.kind == "wire" else 0.0)
            if step < best.get(e.other(node), np.inf):
                best[e.other(node)] = step
                heapq.heappush(queue, (step, e.other(node)))
    return UNKNOWN_M


def live_when(life: Story, node: int) -> tuple[bool, ...]:
    """When a metal is live in a life, by number of the instant."""
    net = life.network
    return tuple(bool(x.volts[node] > LIVE_SHARE * x.volts[plus(net)]) for x in life.instants)


@lru_cache(maxsize=512)
def bears(circuit: Circuit, node: int, amps: float) -> bool:
    """Whether the fuse before a metal bears a new load beside what it carries (80 % of its rating)."""
    life = healthy_life(circuit)
    net = life.network
    found = reach(net, [plus(net)], (*RUN, *CLOSERS, *FUSES))
    fuses = [e for e in way(found, node) if e.kind in FUSES] if node in found else []
    if not fuses:
        return True
    rows = [x for x in life.instants if net.phases[x.phase].base != "cranking"]
    usual = max(abs(float(x.amps[fuses[-1].branch])) for x in rows)
    part = next(p for p in circuit.parts if p.name == fuses[-1].part)
    if part.kind == "polyfuse":
        return usual + amps <= tables.number(part, "hold_a")
    return usual + amps <= FUSE_SHARE * tables.number(part, "rating_a")
