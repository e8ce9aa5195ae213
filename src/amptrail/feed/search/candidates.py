"""What could bridge a broken stretch: a wire end to end, a jumper from a live point, a relay with its own
fused feed, a new ground; each with what isolates the old path.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from amptrail.circuit.model import BODY, Circuit, key
from amptrail.feed.graph import FUSES, grounded, plus
from amptrail.feed.marks import Mark
from amptrail.feed.search.broken import Stretch
from amptrail.feed.search.choice import Size, like_old, needs_fuse, of_size
from amptrail.feed.search.need import healthy_life
from amptrail.feed.search.places import Source, bears, live_when, metres, point, sources
from amptrail.sheet.words import name_text

MOST_SOURCES, MOST_DIODE_A = 4, 10.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """One feed in words, made of `head` (from … to …, a relay) and a size, a diode, cuts. `soundness` is
    what the kind is worth before anything is known: a wire end to end first. `tempting`: what people try
    first, live whether it is wanted or not."""

    head: str
    size: Size
    cuts: tuple[str, ...]
    soundness: int
    what: str
    relay: str = ""
    diode: bool = False
    tempting: bool = False

    @property
    def text(self) -> str:
        fuse = f" fuse {self.size.fuse_a:g} A" if self.size.fuse_a else ""
        cut = f" cut {', '.join(self.cuts)}" if self.cuts else ""
        diode = " diode" if self.diode else ""
        return f"{self.head}{self.relay}{fuse}{diode} {self.size.wire_text}{cut}"


def candidates(circuit: Circuit, s: Stretch) -> Iterator[Candidate]:
    """Every kind of feed for one stretch, the soundest kind first."""
    net = healthy_life(circuit).network
    near = point(circuit, net, s.near)
    if near is None:
        return
    if s.side == "ground":
        yield from _grounds(circuit, s, near)
        return
    yield from _overlay(circuit, s, near)
    yield from _jumpers(circuit, s, near)
    yield from _relays(circuit, s, near)


def _overlay(circuit: Circuit, s: Stretch, near: str) -> Iterator[Candidate]:
    """A wire end to end beside the old one."""
    net = healthy_life(circuit).network
    far = point(circuit, net, s.far)
    copper = s.plain or all(
        e.kind in FUSES or e.kind in ("wire", "joint", "connector", "box") for e in s.links
    )
    if far is None or not copper:
        return
    fused = s.side == "feed" and (not s.plain or needs_fuse(circuit, s))
    size = like_old(circuit, s, metres(circuit, s.far, s.near), fused=fused)
    if size is not None:
        ends = f"from {far} to {near}" if s.side == "feed" else f"from {near} to {far}"
        yield Candidate(ends, size, s.cuts, 0, "wire end to end")


def _grounds(circuit: Circuit, s: Stretch, near: str) -> Iterator[Candidate]:
    """A new ground or strap; a wire end to end where something other than ground lies at the far end."""
    life = healthy_life(circuit)
    net = life.network
    ground = grounded(net)
    if s.far not in ground:
        yield from _overlay(circuit, s, near)
    battery = next(p.name for p in circuit.parts if p.kind == "battery")
    ends = {s.far: point(circuit, net, s.far)} if s.far in ground else {}
    ends |= {net.node(BODY): "body", net.static.ground: f"{name_text(battery)}.-"}
    for node, to in ends.items():
        if to is None or node == s.near:
            continue
        size = like_old(circuit, s, metres(circuit, node, s.near), fused=False)
        if size is not None:
            permanent = s.far not in ground
            yield Candidate(f"from {near} to {to}", size, s.cuts, 1 if not permanent else 2, "new ground",
                            tempting=permanent)  # fmt: skip


def _wanted(circuit: Circuit, s: Stretch) -> tuple[bool, ...]:
    """When the near end is live in the healthy vehicle."""
    return live_when(healthy_life(circuit), s.near)


def _usable(circuit: Circuit, s: Stretch) -> list[Source]:
    """Points live whenever the near end is, nearest in the loom first; what hangs on the stretch left out."""
    wanted = _wanted(circuit, s)
    skip = {s.near, *(e.a for e in s.links), *(e.b for e in s.links)} - {s.far}
    found = [
        x
        for x in sources(circuit)
        if x.node not in skip and all(have for have, want in zip(x.live, wanted, strict=True) if want)
    ]
    exact = [x for x in found if x.live == wanted]
    rest = [x for x in found if x.live != wanted]

    def far(x: Source) -> tuple[float, str]:
        return metres(circuit, x.node, s.near), x.text

    return [*sorted(exact, key=far)[:MOST_SOURCES], *sorted(rest, key=far)[:MOST_SOURCES]]


def _jumpers(circuit: Circuit, s: Stretch, near: str) -> Iterator[Candidate]:
    """A fused lead from a live point, and from the battery itself."""
    wanted = _wanted(circuit, s)
    for x in _usable(circuit, s):
        size = of_size(circuit, s, metres(circuit, x.node, s.near), x.node, fused=True)
        if size is not None and x.text != near and bears(circuit, x.node, size.amps):
            yield Candidate(f"from {x.text} to {near}", size, s.cuts, 1, "fused jumper",
                            tempting=x.live != wanted)  # fmt: skip


def _relays(circuit: Circuit, s: Stretch, near: str) -> Iterator[Candidate]:
    """A relay with its own fused feed from the battery: switched by a point live when needed, or beside the
    coil of the relay whose contact is bridged."""
    life = healthy_life(circuit)
    net, wanted = life.network, _wanted(circuit, s)
    battery = point(circuit, net, plus(net))
    size = of_size(circuit, s, metres(circuit, plus(net), s.near), plus(net), fused=True)
    if battery is None or size is None or s.near == plus(net):
        return
    contact = next((e.part for e in (*s.links, *s.way.up) if e.kind == "contact"), None)
    if contact is not None and not any(key(contact) == key(e.part) and e.kind == "coil" for e in s.links):
        name = name_text(contact)
        yield Candidate(f"from {battery} to {near}", size, s.cuts, 2, "added relay",
                        f" through relay switched by {name}.86 to {name}.85 suppressed")  # fmt: skip
    ground = next((name_text(p.name) for p in circuit.parts if p.kind == "ground"), "body")
    for x in _usable(circuit, s):
        if x.live == wanted and not x.always and x.text != near:
            yield Candidate(f"from {battery} to {near}", size, s.cuts, 2, "added relay",
                            f" through relay switched by {x.text} to {ground} suppressed")  # fmt: skip


def mended(c: Candidate, broken: Sequence[Mark]) -> Candidate | None:
    """The same feed with what its broken rules ask for: a thicker wire, a larger fuse, a diode; None when
    nothing of that would help."""
    rules = {m.rule for m in broken}
    size: Size | None = c.size
    thin = [m for m in broken if m.rule == "wire_rating" and m.part.endswith("_wire")]
    if thin:
        size = c.size.for_fuse(max(m.figure for m in thin))
    elif rules & {"adiabatic_ground", "voltage_drop", "dead_short_not_cleared", "restores_from_asleep"}:
        size = c.size.thicker()
    elif any(m.rule in ("fuse_80_percent", "fuse_opens") and m.part.endswith("_fuse") for m in broken):
        size = c.size.stronger()
    elif (
        rules & {"back_feed", "self_holding", "permanently_on"} and not c.diode and c.size.amps < MOST_DIODE_A
    ):
        return replace(c, diode=True)
    return None if size is None or size == c.size else replace(c, size=size)


__all__ = ["Candidate", "candidates", "mended"]
