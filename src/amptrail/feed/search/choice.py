"""Wire and fuse of a feed, from the tables of `reference`: by current, length, air, and what was there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, key
from amptrail.errors import InputError
from amptrail.feed.graph import FUSES, opens_a
from amptrail.feed.guard import air_at, largest_a
from amptrail.feed.search.broken import Stretch
from amptrail.feed.search.need import healthy_life
from amptrail.reference.sizing import fuse_for, size
from amptrail.reference.wire import metric_wires

DROP_V = 0.3  # what a feed's own wire may lose (common practice: half of what a whole circuit may)
THINNEST_MM2 = 0.5  # thinner wire does not hold in a splice (common practice)
SWITCHED_TIMES = 2.0  # a coil or a module may draw so much more than said (NUMERICS, Worst case)
SPARE = 1.1  # of what a fuse asks of its wire
LEAST_A, LARGEST_BLADE_A = 0.05, 40.0


@dataclass(frozen=True, slots=True)
class Size:
    """Area, mm2; fuse, A (None: none needed); length, m; steady current, A."""

    area_mm2: float
    fuse_a: float | None
    length_m: float
    amps: float

    @property
    def wire_text(self) -> str:
        return f"wire {self.area_mm2:g} mm2 {self.length_m:g} m"

    @property
    def text(self) -> str:
        return (f"fuse {self.fuse_a:g} A " if self.fuse_a else "") + self.wire_text

    def thicker(self) -> Size | None:
        """The next listed wire; None above the thickest."""
        area = next((w.nominal_mm2 for w in metric_wires() if w.nominal_mm2 > self.area_mm2 * 1.001), None)
        return None if area is None else replace(self, area_mm2=area)

    def for_fuse(self, amps: float) -> Size:
        """A wire that a fuse of so many amperes protects."""
        return replace(self, area_mm2=max(self.area_mm2, _area(amps)))

    def stronger(self) -> Size | None:
        """The next larger fuse, with a wire it protects."""
        if self.fuse_a is None:
            return None
        fuse = fuse_for(self.fuse_a * 0.8 + 1e-3)
        return None if fuse is None else replace(self, fuse_a=fuse, area_mm2=max(self.area_mm2, _area(fuse)))


@lru_cache(maxsize=512)
def _area(fuse_a: float, air_c: float = 40.0) -> float:
    """The thinnest listed wire that a fuse protects, mm2."""
    return next((w.nominal_mm2 for w in metric_wires() if largest_a(w.nominal_mm2, air_c) >= SPARE * fuse_a),
                metric_wires()[-1].nominal_mm2)  # fmt: skip


@lru_cache(maxsize=64)
def amps_of(circuit: Circuit, s: Stretch) -> float:
    """The current the healthy vehicle has in the stretch, A: the largest that lasts, of cranking only where
    it flows at no other time."""
    life = healthy_life(circuit)
    edge = s.links[0].branch
    rows = [
        (life.network.phases[x.phase].base == "cranking", abs(float(x.amps[edge]))) for x in life.instants
    ]
    steady = max((a for cranking, a in rows if not cranking), default=0.0)
    return max(steady if steady > LEAST_A else max(a for _, a in rows), LEAST_A)


def old_area(circuit: Circuit, s: Stretch) -> float:
    """The thickest wire of the stretch, mm2, or of a stretch without one the wires it lies between; 0 where
    no area is known."""
    parts = {key(p.name): p for p in circuit.parts}
    run = s.way.up if s.side == "feed" else s.way.down
    first, last = run.index(s.links[0]), run.index(s.links[-1])
    beside = [
        next((e for e in side if e.kind == "wire"), None) for side in (run[:first][::-1], run[last + 1 :])
    ]
    links = [e for e in s.links if e.kind == "wire"] or [e for e in beside if e is not None]
    found = [parts[key(e.part)] for e in links]
    return max((tables.number(p, "area_mm2") for p in found if p.said("area_mm2") is not None), default=0.0)


def old_fuse_a(circuit: Circuit, s: Stretch) -> float | None:
    """The fuse that protects the stretch, A: the nearest one between it and the source."""
    parts = {key(p.name): p for p in circuit.parts}
    run = s.way.up
    if s.side == "feed":
        run = run[run.index(s.links[-1]) + 1 :] or run
    found = [parts[key(e.part)] for e in run if e.kind in FUSES]
    if s.side == "feed" and not found:
        found = [parts[key(e.part)] for e in s.links if e.kind in FUSES]
    return opens_a(found[0]) if found else None


def needs_fuse(circuit: Circuit, s: Stretch) -> bool:
    """Whether a wire in place of the stretch needs a fuse of its own: none before it, or one too large."""
    old = old_fuse_a(circuit, s)
    net = healthy_life(circuit).network
    largest = largest_a(max(old_area(circuit, s), THINNEST_MM2), air_at(circuit, net, s.near, s.far))
    return old is None or old > largest


def of_size(circuit: Circuit, s: Stretch, length_m: float, node: int, *, fused: bool) -> Size | None:
    """Wire and fuse for the stretch's current over a length from `node`; None beyond the tables.

    A load that takes a rush keeps the fuse it had where the wire allows it: it was chosen for that rush.
    """
    net = healthy_life(circuit).network
    amps, air = amps_of(circuit, s), air_at(circuit, net, s.near, node)
    try:
        found = size(amps * (SWITCHED_TIMES if s.way.control else 1.0), length_m, DROP_V, air)
    except InputError:
        return None
    area, fuse = max(float(found["area_mm2"]), THINNEST_MM2), float(found["fuse_a"])
    old = old_fuse_a(circuit, s)
    coil = s.way.load == s.way.feeds and s.way.feeds in {p.name for p in circuit.parts if p.kind == "relay"}
    if not coil and old is not None and fuse < old <= LARGEST_BLADE_A:
        fuse = old
    if not fused:
        return Size(area, None, length_m, amps)
    return Size(max(area, _area(fuse, air)), fuse, length_m, amps)


def like_old(circuit: Circuit, s: Stretch, length_m: float, *, fused: bool) -> Size | None:
    """A wire no thinner than the one it replaces."""
    found = of_size(circuit, s, length_m, s.far, fused=fused)
    area = old_area(circuit, s)
    if found is None:
        return Size(area, None, length_m, amps_of(circuit, s)) if area and not fused else None
    if not area:
        return found
    listed = next((w.nominal_mm2 for w in metric_wires() if w.nominal_mm2 >= area - 1e-9), area)
    return replace(found, area_mm2=max(found.area_mm2, listed))
