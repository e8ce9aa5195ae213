"""The shape of a circuit with a feed: branches as a graph, the feed's conductors, what protects them.

Written over the twin's elements from DESIGN section 9; the prover has its own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

from amptrail.checker.data import RejectedError
from amptrail.checker.vehicle import Job
from amptrail.circuit import tables
from amptrail.circuit.model import BODY, Part, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.reference.rows import rows
from amptrail.reference.sizing import HOT_INSULATION_C, INSULATION_C, PLACE_C, largest_fuse_a
from amptrail.reference.wire import RHO_OHM_MM2_PER_M, Wire, ampacity_a, metric_wires
from amptrail.twin.bench import JUNCTION
from amptrail.twin.elements import bench

COPPER = frozenset({"wire", "joint", "connector", "box", "splice", "ground"})
FUSES = frozenset({"fuse", "link", "polyfuse"})
CLOSERS = frozenset({"switch", "contact"})
LOADS = frozenset({"motor", "lamp", "led", "starter", "solenoid", "heater", "ptc", "load", "resistor"})
STRAND_LOSS = 1.075  # resistance of a listed wire over that of its bare area (reference.wire table)
COOL_C = 70  # up to here the usual insulation serves


@dataclass(frozen=True, slots=True)
class Link:
    """One branch between two metals."""

    name: str
    part: str
    kind: str
    a: int
    b: int

    def far(self, node: int) -> int:
        return self.b if node == self.a else self.a


@dataclass(frozen=True, slots=True)
class Chain:
    """One conductor of the feed, from its source to its end."""

    nodes: tuple[int, ...]
    links: tuple[Link, ...]
    parts: tuple[Part, ...]

    @property
    def source(self) -> int:
        return self.nodes[0]

    @property
    def end(self) -> int:
        return self.nodes[-1]

    @property
    def name(self) -> str:
        return "+".join(p.name for p in self.parts)

    @property
    def coil(self) -> bool:
        return any(x.kind == "coil" for x in self.links)

    def back(self) -> Chain:
        return Chain(self.nodes[::-1], self.links[::-1], self.parts[::-1])


@dataclass(frozen=True, slots=True)
class Fuse:
    name: str
    rating_a: float


class Shape:
    """The graph of the fed circuit, and what is asked of it."""

    def __init__(self, job: Job) -> None:
        self.job, self.circuit = job, job.fed
        self.bench = bench(job.fed)
        self.parts = {key(p.name): p for p in job.fed.parts}
        self.own_parts = {key(p.name) for p in job.feed.parts}
        self.links = tuple(self._links())
        self.by_name = {key(x.name): x for x in self.links}
        self.near: dict[int, list[Link]] = {}
        for x in self.links:
            self.near.setdefault(x.a, []).append(x)
            self.near.setdefault(x.b, []).append(x)
        self.own = frozenset(x for x in self.links if key(x.part) in self.own_parts and x.kind != "quench")
        self.opened = frozenset(self._opened())
        battery = next(p for p in job.fed.parts if p.kind == "battery" and key(p.name) not in self.own_parts)
        self.plus = self.bench.node(battery.name, "+")
        self.minus = self.bench.node(battery.name, "-")
        self.body = self.bench.node(BODY.part, BODY.name)
        self.ground = frozenset(self.reach([self.minus, self.body], COPPER, self.own | self.opened))

    @staticmethod
    @lru_cache(maxsize=8)
    def of(job: Job) -> Shape:
        return Shape(job)

    # ---- the graph ----------------------------------------------------------------------------------
    def _links(self) -> Iterator[Link]:
        through = {
            (key(e.branch.part), e.branch.name.removesuffix(JUNCTION)): e.b
            for e in self.bench.out
            if e.branch.name.endswith(JUNCTION)
        }
        for e in self.bench.out:
            if not e.branch.part or e.branch.name.endswith(JUNCTION):
                continue
            name = str(e.branch) if e.branch.name else e.branch.part
            end = through.get((key(e.branch.part), e.branch.name), e.b)
            yield Link(name, e.branch.part, self._kind(e.branch), e.a, end)

    def _kind(self, t: Term) -> str:
        kind = self.parts[key(t.part)].kind
        if kind in ("relay", "starter"):
            words = {"coil": "coil", "pull": "coil", "diode": "quench", "resistor": "quench",
                     "87": "contact", "87a": "contact", "contact": "contact"}  # fmt: skip
            return words.get(t.name, kind)
        return "starter" if kind == "battery" and t.name == "crank" else kind

    def _opened(self) -> Iterator[Link]:
        names = [
            str(f.at) if f.at.name else f.at.part for f in self.job.faults if f.mode in ("open", "missing")
        ]
        for name in (*names, *self.job.feed.cuts):
            if key(name) in self.by_name:
                yield self.by_name[key(name)]
            else:
                yield from (x for x in self.links if key(x.part) == key(name))

    def reach(
        self, start: Iterable[int], kinds: Collection[str], without: Collection[Link] = ()
    ) -> dict[int, Link | None]:
        """Metals reached, nearest first, each with the branch that led there."""
        found: dict[int, Link | None] = dict.fromkeys(start)
        queue = list(found)
        for node in queue:
            for x in self.near.get(node, ()):
                if x.kind in kinds and x not in without and x.far(node) not in found:
                    found[x.far(node)] = x
                    queue.append(x.far(node))
        return found

    @staticmethod
    def way(found: dict[int, Link | None], node: int) -> list[Link]:
        out: list[Link] = []
        while (x := found[node]) is not None:
            out.append(x)
            node = x.far(node)
        return out[::-1]

    def nodes_of(self, part: str) -> set[int]:
        joined = {n for (p, _), n in wiring(self.circuit).node_of.items() if p == key(part)}
        return joined | {n for (p, _), n in self.bench.own.items() if p == key(part)}

    # ---- the feed's conductors ----------------------------------------------------------------------
    @cached_property
    def chains(self) -> tuple[Chain, ...]:
        """Every way through the feed between two metals of the sheet, each once, source first."""
        sheet = wiring(self.job.sheet)
        ends = {n for k, n in wiring(self.circuit).node_of.items() if k in sheet.node_of}
        for p in self.job.sheet.parts:
            ends |= self.nodes_of(p.name)
        found: dict[frozenset[Link], Chain] = {}
        for start in sorted({n for x in self.own for n in (x.a, x.b)} & ends):
            for c in self._ways(start, ends):
                told = frozenset(c.links)
                directed = self._directed(c)
                if told not in found and directed is not None:
                    found[told] = directed
        return tuple(found.values())

    def _ways(self, start: int, ends: set[int]) -> Iterator[Chain]:
        stack: list[tuple[tuple[int, ...], tuple[Link, ...]]] = [((start,), ())]
        while stack:
            nodes, links = stack.pop()
            for x in self.near.get(nodes[-1], ()):
                far = x.far(nodes[-1])
                if x not in self.own or x in links or far in nodes:
                    continue
                longer = ((*nodes, far), (*links, x))
                if far in ends:
                    yield Chain(*longer, tuple(self.parts[key(y.part)] for y in longer[1]))
                else:
                    stack.append(longer)

    def _directed(self, c: Chain) -> Chain | None:
        """As its diodes let it; else away from battery plus, towards ground; else as written."""
        ways = {x.a == c.nodes[n] for n, x in enumerate(c.links) if x.kind == "diode"}
        if len(ways) > 1:
            return None
        if ways:
            return c if True in ways else c.back()
        if (c.source in self.ground) != (c.end in self.ground):
            return c.back() if c.source in self.ground else c
        if (c.source == self.plus) != (c.end == self.plus):
            return c.back() if c.end == self.plus else c
        return c if c.links[0].a == c.nodes[0] else c.back()

    def chain_called(self, name: str) -> Chain:
        for c in self.chains:
            if name in (c.name, c.back().name):
                return c
        raise RejectedError(f"the feed has no conductor {name}", "stories")

    def ends_on_ground(self, c: Chain) -> bool:
        return c.end in self.ground

    # ---- what protects and what bears ---------------------------------------------------------------
    @cached_property
    def unfused(self) -> frozenset[int]:
        """Metals with nothing but copper, switches and contacts between them and battery plus."""
        return frozenset(self.reach([self.plus], COPPER | CLOSERS, self.own)) - self.ground

    def rating(self, name: str) -> float:
        p = self.parts[key(name)]
        return tables.number(p, "trip_a" if p.kind == "polyfuse" else "rating_a")

    def upstream(self, node: int, *, whole: bool = False) -> Fuse | None:
        """The nearest fuse on the sheet's way from battery plus; `whole`: what the fault opens conducts."""
        without = self.own if whole else self.own | self.opened
        found = self.reach([self.plus], COPPER | CLOSERS | FUSES, without)
        if node not in found:
            return None
        fuses = [x for x in self.way(found, node) if x.kind in FUSES]
        return Fuse(fuses[-1].part, self.rating(fuses[-1].part)) if fuses else None

    def protector(self, c: Chain) -> Fuse | None:
        """What opens when the far end is shorted."""
        mine = [Fuse(p.name, self.rating(p.name)) for p in c.parts if p.kind in FUSES]
        return min(mine, key=lambda f: f.rating_a) if mine else self.upstream(c.source)

    def air_c(self, *nodes: int) -> float:
        """Engine-bay air where one of these metals is on a part at a hot place."""
        hot = {key(p.name) for p in self.job.sheet.places if "hot" in p.traits}
        warm = {key(p.name) for p in self.job.sheet.parts if p.place and key(p.place) in hot}
        if any(set(nodes) & self.nodes_of(name) for name in warm):
            return PLACE_C["engine-bay"]
        return PLACE_C["cabin"]

    @cached_property
    def overlays(self) -> frozenset[Chain]:
        """Chains laid end to end beside one run of the sheet, with its fuse and no thinner."""
        return frozenset(c for c in self.chains if self._beside(c))

    @property
    def repair(self) -> bool:
        return bool(self.chains) and len(self.overlays) == len(self.chains)

    def _beside(self, c: Chain) -> bool:
        if any(p.kind not in {"wire", "joint"} | FUSES for p in c.parts):
            return False
        found = self.reach([c.source], COPPER | FUSES, self.own)
        if c.end not in found or c.end == c.source or not self._same_way(c):
            return False
        run = self.way(found, c.end)
        old = [self.rating(x.part) for x in run if x.kind in FUSES]
        new = [self.rating(p.name) for p in c.parts if p.kind in FUSES]
        if bool(old) != bool(new) or (old and min(new) > min(old)):
            return False
        was = [a for x in run if x.kind == "wire" and (a := area(self.parts[key(x.part)])) is not None]
        is_now = [a for p in c.parts if p.kind == "wire" and (a := area(p)) is not None]
        return bool(is_now) and (not was or min(is_now) >= min(was) - 1e-9)

    def _same_way(self, c: Chain) -> bool:
        """The sheet's own way to the end (of a ground: from its source) passes the other end."""
        if self.ends_on_ground(c):
            found = self.reach([self.minus, self.body], COPPER, self.own)
            first, last = c.end, c.source
        else:
            found = self.reach([self.plus], COPPER | FUSES | CLOSERS, self.own)
            first, last = c.source, c.end
        if last not in found:
            return False
        return first in {last} | {n for x in self.way(found, last) for n in (x.a, x.b)}


def area(wire: Part) -> float | None:
    """mm2; None where only ohms are told."""
    if wire.said("area_mm2") is None and wire.said("ohm") is not None:
        return None
    return tables.number(wire, "area_mm2")


def listed(area_mm2: float) -> Wire:
    """The listed wire of that area, else one with the usual loss."""
    for w in metric_wires():
        if abs(w.nominal_mm2 - area_mm2) < 1e-9:
            return w
    ohm = STRAND_LOSS * RHO_OHM_MM2_PER_M / area_mm2
    return Wire(f"{area_mm2:g} mm2", area_mm2, ohm, "computed", "reference.wire")


def bears_a(area_mm2: float, air: float) -> float:
    """Steady amps of one wire in free air (33 CFR 183.425 Table 5)."""
    return ampacity_a(listed(area_mm2), air, INSULATION_C if air <= COOL_C else HOT_INSULATION_C)


def largest_a(area_mm2: float, air: float) -> float:
    """The largest fuse before a wire; 0 for one too thin to name."""
    if area_mm2 < min(float(r["area_mm2"]) for r in rows("wire_fuse")) - 1e-9:
        return 0.0
    return largest_fuse_a(listed(area_mm2), bears_a(area_mm2, air))
