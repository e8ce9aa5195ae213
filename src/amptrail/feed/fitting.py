"""A feed laid over a circuit so that healthy, faulty and fed vehicle are lanes of one network.

The feed's parts are always in the network; a lane without the feed has them open. That way a state of the
healthy vehicle can be handed on to the fed one: relays and modules keep theirs when the feed is fitted awake.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from amptrail.circuit.model import BODY, Circuit, Fault, Feed, Path, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.errors import nearest, one
from amptrail.faults import changes
from amptrail.feed.graph import FUSES, Edge, edges, plus
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind
from amptrail.solve.network import Network

Lane = tuple[Change, ...]


@dataclass(frozen=True, eq=False)
class Fitted:
    """A feed over a circuit, compiled: `without` leaves the feed away, `cuts` opens what it isolates,
    `fault` is what it is meant to bridge."""

    sheet: Circuit  # as drawn, without the feed
    circuit: Circuit  # with the feed's parts
    feed: Feed
    against: tuple[Fault, ...]
    network: Network
    without: Lane
    cuts: Lane
    fault: Lane

    def lane(self, state: str) -> Lane:
        """Changes of the `healthy`, `faulty` or `fed` vehicle."""
        return {
            "healthy": self.without,
            "faulty": self.without + self.fault,
            "fed": self.cuts + self.fault,
        }[state]


def together(circuit: Circuit, feed: Feed) -> Circuit:
    """The circuit with the feed's parts, first in the order of settling (NUMERICS, Discrete state)."""
    taken = {key(p.name) for p in circuit.parts}
    twice = [p.name for p in feed.parts if key(p.name) in taken]
    if twice:
        raise one("feed-name", f"feed {feed.name}: a part {twice[0]} is in the sheet already",
                  remedy="give the feed's part another name")  # fmt: skip
    added = tuple(p.name for p in feed.parts)
    return replace(
        circuit,
        parts=feed.parts + circuit.parts,
        paths=circuit.paths + feed.paths,
        nets=circuit.nets + feed.nets,
        order=added + circuit.order if circuit.order else (),
    )


def _refuse_merging(sheet: Circuit, whole: Circuit, feed: Feed) -> None:
    """A feed without a wire would make two metals one: it has no size, no fuse and no label."""
    before, after = wiring(sheet), wiring(whole)
    seen: dict[int, Term] = {}
    for n, term in enumerate(before.names):
        m = after.node(term)
        if m is None:
            continue
        if m in seen:
            called = "this feed" if feed.name == "feed" else f"feed {feed.name}"
            text = f"{called} joins {seen[m]} and {term} with nothing between"
            raise one("feed-without-wire", text,
                      remedy="name its wire (and its fuse): wire 1.5 mm2 2 m")  # fmt: skip
        seen[m] = before.names[n]


def _refuse_unknown(sheet: Circuit, whole: Circuit, feed: Feed) -> None:
    """Every end of the feed must be a point of the circuit or of the feed itself."""
    own = {key(p.name) for p in feed.parts}
    known = {key(p.name) for p in sheet.parts}
    w = wiring(sheet)
    nets = [n for names in w.net_names for n in names]
    terms = [t for n in feed.nets for t in n.terms]
    for path in feed.paths:
        terms += [Term(h.part, x) for h in path.hops for x in (h.a, h.b)]
    for t in terms:
        if t.part and key(t.part) not in own | known:
            raise one("no-such-part", f"feed {feed.name}: no part is called {t.part}",
                      nearest=nearest(t.part, [p.name for p in sheet.parts]),
                      remedy="name a part of the sheet")  # fmt: skip
    inside = {key(n.name) for n in feed.nets}
    for path in feed.paths:
        for h in path.hops:
            if not h.part and w.node(Term("", h.a)) is None and key(h.a) not in inside:
                raise one("no-such-point", f"feed {feed.name}: no point is called {h.a}",
                          nearest=nearest(h.a, nets), remedy="name a point of the sheet")  # fmt: skip


def _cut(net: Network, name: str) -> Lane:
    """What is isolated, open: one branch, or every branch of a part."""
    if key(name) in net.branch_of:
        return (Change(Kind.OPEN, net.branch(name)),)
    if key(name) in net.part_branches:
        return (Change(Kind.UNPLUG, name),)
    raise one("no-such-cut", f"nothing is called {name}", nearest=nearest(name, list(net.branches)),
              remedy="cut a wire or a joint of the sheet")  # fmt: skip


CONDUCTORS = ("wire", "fuse", "link", "polyfuse", "joint", "diode")
STRAIGHT = ("wire", "joint", "connector", "box", "splice", "ground")


def _refuse_across(sheet: Circuit, net: Network, feed: Feed) -> None:
    """A lead from battery plus, or what copper and fuses join to it, straight to ground is a dead short."""
    hops = feed.paths[0].hops if feed.short else ()
    ends = [wiring(sheet).node(Term(h.part, h.a)) for h in (hops[0], hops[-1])] if hops else []
    if ends and ends[0] is not None and ends[0] == ends[1]:
        raise one("feed-leads-nowhere", f"feed {feed.name} begins and ends on the same metal",
                  remedy="name two points that something lies between")  # fmt: skip
    own = {key(p.name) for p in feed.parts if p.kind in CONDUCTORS}
    feeds = {key(p.name) for p in feed.parts}
    rows = edges(net)
    copper = [e for e in rows if key(e.part) not in feeds and e.kind in STRAIGHT]
    fused = [*copper, *(e for e in rows if key(e.part) not in feeds and e.kind in FUSES)]
    lead = [e for e in rows if key(e.part) in own]
    ground = _joined([net.static.ground, net.node(BODY)], copper)
    if plus(net) in ground:
        return  # the sheet's own trouble, not the feed's
    begins = _joined([plus(net)], fused) - ground
    if begins & _joined(list(ground), lead):
        text = f"feed {feed.name} leads from battery plus straight to ground: a dead short"
        raise one("across-battery", text,
                  remedy="end it at the load's supply side, or begin at its ground side")  # fmt: skip


def _joined(start: Sequence[int], rows: Sequence[Edge]) -> set[int]:
    """Metals joined by some branches."""
    found = set(start)
    grows = True
    while grows:
        more = {n for e in rows if {e.a, e.b} & found for n in (e.a, e.b)} - found
        found |= more
        grows = bool(more)
    return found


@lru_cache(maxsize=64)
def fit(sheet: Circuit, feed: Feed, against: tuple[Fault, ...] = ()) -> Fitted:
    """Compile a feed over a sheet. InputError when it cannot be laid: unknown points, no wire, bad cuts.

    `against` is the fault to bridge; empty: the one the feed itself was declared for.
    """
    whole = together(sheet, feed)
    _refuse_unknown(sheet, whole, feed)
    _refuse_merging(sheet, whole, feed)
    net = assemble(whole)
    _refuse_across(sheet, net, feed)
    faults = against or feed.against
    return Fitted(
        sheet,
        whole,
        feed,
        faults,
        net,
        tuple(Change(Kind.UNPLUG, p.name) for p in feed.parts),
        tuple(c for name in feed.cuts for c in _cut(net, name)),
        tuple(c for f in faults for c in changes(net, f)),
    )


def several(feeds: Sequence[Feed]) -> Feed:
    """Feeds fitted at once, as one overlay; equal part names get their feed's name before them."""
    if len(feeds) == 1:
        return feeds[0]
    out = Feed(name=" and ".join(f.name for f in feeds), text=feeds[0].text)
    taken: set[str] = set()
    for f in feeds:
        clash = {key(p.name) for p in f.parts} & taken
        f = _renamed(f, clash) if clash else f
        taken |= {key(p.name) for p in f.parts}
        out = replace(out, parts=out.parts + f.parts, paths=out.paths + f.paths, nets=out.nets + f.nets,
                      cuts=out.cuts + f.cuts, against=out.against + f.against)  # fmt: skip
    return out


def _renamed(f: Feed, clash: set[str]) -> Feed:
    def new(name: str) -> str:
        return f"{f.name}_{name}" if key(name) in clash else name

    return replace(
        f,
        parts=tuple(replace(p, name=new(p.name)) for p in f.parts),
        paths=tuple(Path(tuple(replace(h, part=new(h.part)) for h in p.hops)) for p in f.paths),
        nets=tuple(replace(n, terms=tuple(Term(new(t.part), t.name) for t in n.terms)) for n in f.nets),
    )
