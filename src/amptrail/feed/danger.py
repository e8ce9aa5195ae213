"""What a bypass may do, told before it is tried: worst current over the suspects still alive, an engine that
cranks, a rail or a module that wakes, an output overloaded by a cold lamp, a thin wire that burns.

A bypass is a feed like any other: two relay pins bridged through a fuse or a lamp, a load fed directly, a
coil grounded, a booster cable from engine to battery minus. Nothing is judged here.
Adiabatic seconds: t = (k S / I)^2, IEC 60364-4-43, k = 115 (reference.wire); fuses: ISO 8820-3 gates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Fault, Feed, Hop, Part, Path, Term, key
from amptrail.faults import changes
from amptrail.feed.evidence import Changes, Instant, Story, asleep_steps, live
from amptrail.feed.extra import cold_lamps, no_fuse_opens
from amptrail.feed.fitting import Fitted, fit
from amptrail.feed.graph import edges, spelled
from amptrail.feed.guard import air_at, carries_a, wire_of
from amptrail.feed.measures import driver_a
from amptrail.feed.shape import area_mm2, feed_edges
from amptrail.reference.fuse import opens_within_s
from amptrail.solve.changes import Change, Kind
from amptrail.units import rounded

LIVE_V, DEAD_V = 3.0, 1.0
SLOW_S = 60.0  # a wire that lasts longer than a minute is not in danger during a test (common practice)
TURNS_V = 3.0  # a starter with less does not move (common practice)
MOST_RAILS = 3
BOOSTER_MM2, BOOSTER_M = 16.0, 3.0


@dataclass(frozen=True, slots=True)
class Burns:
    """A wire, the seconds until its insulation is at its limit, the current, and the suspect it takes."""

    wire: str
    seconds: float
    amps: float
    suspect: str


@dataclass(frozen=True, slots=True)
class Danger:
    """Each figure with the suspect that makes it so (`""`: nothing broken). `opens_s`: the bypass's fuse is
    open by then; None: it may carry the current for ever."""

    worst_a: float
    worst_if: str
    opens_s: float | None
    cranks: tuple[str, ...]
    wakes: tuple[str, ...]
    rails: tuple[str, ...]
    outputs: tuple[tuple[str, float, float], ...]  # name, A with cold lamps, limit A
    burns: tuple[Burns, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What to say before it is tried, the gravest first."""
        return tuple(_said(self))


Suspects = Sequence[tuple[str, tuple[Fault, ...]]]


def bridge(a: Term, b: Term, *, fuse_a: float | None = None, lamp_w: float | None = None) -> Feed:
    """Two points bridged through a fuse, or through a 12 V lamp of stated wattage."""
    if (fuse_a is None) == (lamp_w is None):
        raise ValueError("a bridge has a fuse or a lamp")
    if fuse_a is not None:
        part = Part("fuse", "BRIDGE_fuse", (("rating_a", fuse_a),))
    else:
        part = Part("lamp", "BRIDGE_lamp", (("rated_v", 12.0), ("rated_w", float(lamp_w or 0.0))))
    hops = (Hop(a.part, a.name, a.name), Hop(part.name, "in", "out"), Hop(b.part, b.name, b.name))
    return Feed("BRIDGE", None, (), (part,), (Path(hops),), (), (), False)


def booster(circuit: Circuit, engine: Term) -> Feed:
    """A booster cable from engine metal to battery minus."""
    battery = next(p.name for p in circuit.parts if p.kind == "battery")
    wire = Part("wire", "BOOSTER", (("area_mm2", BOOSTER_MM2), ("length_m", BOOSTER_M)))
    hops = (Hop(engine.part, engine.name, engine.name), Hop(wire.name, "in", "out"), Hop(battery, "-", "-"))
    return Feed("BOOSTER", None, (), (wire,), (Path(hops),), (), (), False)


def danger(
    circuit: Circuit, feed: Feed, suspects: Suspects, phase: int | None = None, out: Sequence[str] = ()
) -> Danger:
    """What may happen when the bypass is fitted, healthy and under each suspect, in one phase (by number) or
    in any. `out`: parts taken out meanwhile, such as the relay in whose socket it sits. InputError when it
    cannot be laid."""
    f = fit(circuit, feed)
    net, steps = f.network, asleep_steps(f.network)
    everyone: list[tuple[str, tuple[Fault, ...]]] = [("", ()), *suspects]
    faulty = [tuple(c for x in faults for c in changes(net, x)) for _, faults in everyone]
    free: Changes = no_fuse_opens(net)
    cold = free + cold_lamps(net)
    gone: Changes = tuple(Change(Kind.UNPLUG, name) for name in out)
    lanes: list[Changes] = [f.lane("healthy"), f.lane("healthy") + cold]
    lanes += [f.cuts + gone + x + more for more in (free, cold) for x in faulty]
    lived = live(net, lanes, steps)

    def rows(lane: int) -> list[Instant]:
        told = Story("nominal", "fed", "asleep", None, net, steps, lived, lane)
        return [x for x in told.instants if x.step.pass_no > 0 and phase in (None, x.phase)]

    usual, chilled, count = rows(0), rows(1), len(everyone)
    names = [name for name, _ in everyone]
    warm = [(names[n], rows(2 + n)) for n in range(count)]
    chill = [(names[n], rows(2 + count + n)) for n in range(count)]
    amps, suspect = _worst(f, warm)
    return Danger(
        amps, suspect, _opens(f, amps), _cranks(circuit, usual, [*warm, *chill]), _wakes(usual, warm),
        _rails(f, usual, warm), _outputs(chilled, chill), _burns(f, usual, warm),
    )  # fmt: skip


Rows = Sequence[tuple[str, list[Instant]]]


def _worst(f: Fitted, warm: Rows) -> tuple[float, str]:
    found = [(_through(f, x), name) for name, rows in warm for x in rows]
    return max(found, key=lambda x: x[0], default=(0.0, ""))


def _through(f: Fitted, x: Instant) -> float:
    """Current through the bypass at an instant, A."""
    return max(abs(float(x.amps[e.branch])) for e in feed_edges(f))


def _opens(f: Fitted, amps: float) -> float | None:
    ratings = [tables.number(p, "rating_a") for p in f.feed.parts if p.kind == "fuse"]
    return opens_within_s(min(ratings), amps) if ratings else None


def _turning(circuit: Circuit, x: Instant) -> set[str]:
    found = set()
    for p in circuit.parts:
        if p.kind == "starter" and (key(p.name), key("M")) in x.story.network.node_index:
            low, high = x.across(Term(p.name, "M"), Term(p.name, "31"))
            if max(abs(low), abs(high)) > TURNS_V:
                found.add(p.name)
    return found


def _more(
    usual: Sequence[Instant], rows: Sequence[Instant], of: Callable[[Instant], Iterable[str]]
) -> set[str]:
    """What is so with the bypass and not in the healthy vehicle, over the instants."""
    return {name for x, h in zip(rows, usual, strict=True) for name in set(of(x)) - set(of(h))}


def _cranks(circuit: Circuit, usual: Sequence[Instant], warm: Rows) -> tuple[str, ...]:
    return tuple(sorted({n for _, rows in warm for n in _more(usual, rows, lambda x: _turning(circuit, x))}))


def _wakes(usual: Sequence[Instant], warm: Rows) -> tuple[str, ...]:
    return tuple(sorted({n for _, rows in warm for n in _more(usual, rows, lambda x: x.state.modules_awake)}))


def _rails(f: Fitted, usual: Sequence[Instant], warm: Rows) -> tuple[str, ...]:
    """Fuses and splices that are live where the healthy vehicle keeps them dead."""
    net, sheet = f.network, {key(p.name) for p in f.sheet.parts}
    nodes = {
        spelled(net, n): n
        for e in edges(net)
        if e.kind in ("fuse", "splice") and key(e.part) in sheet
        for n in (e.a, e.b)
    }
    live_now = {
        name
        for name, n in nodes.items()
        for _, rows in warm
        for x, h in zip(rows, usual, strict=True)
        if abs(float(x.volts[n])) > LIVE_V and abs(float(h.volts[n])) < DEAD_V
    }
    return tuple(sorted(live_now))


def _outputs(usual: Sequence[Instant], chill: Rows) -> tuple[tuple[str, float, float], ...]:
    """Outputs beyond their limit with cold lamps that are not so without the bypass."""
    before = {n for h in usual for n, (amps, limit) in driver_a(h).items() if amps > limit}
    found: dict[str, tuple[float, float]] = {}
    for _, rows in chill:
        for x, h in zip(rows, usual, strict=True):
            for name in set(x.state.drivers_tripped) - set(h.state.drivers_tripped):
                found.setdefault(name, _limit(x, name))
            for name, (amps, limit) in driver_a(x).items():
                if amps > limit and name not in before and amps > found.get(name, (0.0, 0.0))[0]:
                    found[name] = (amps, limit)
    return tuple((n, a, limit) for n, (a, limit) in sorted(found.items()))


def _limit(x: Instant, name: str) -> tuple[float, float]:
    net = x.story.network
    limit = float(net.base.limit[list(net.drivers).index(name)])
    return limit, limit


def _burns(f: Fitted, usual: Sequence[Instant], warm: Rows) -> tuple[Burns, ...]:
    """Wires beyond what they carry for ever, worst first, with the seconds they last; not those that
    the fuse of the bypass saves."""
    net = f.network
    parts = {key(p.name): p for p in f.circuit.parts if p.kind == "wire" and p.said("area_mm2") is not None}
    found: dict[str, Burns] = {}
    for e in edges(net):
        p = parts.get(key(e.part))
        area = area_mm2(p) if p is not None else None
        if area is None:
            continue
        limit = carries_a(area, air_at(f.sheet, net, e.a, e.b))
        for name, rows in warm:
            for x, h in zip(rows, usual, strict=True):
                amps = abs(float(x.amps[e.branch]))
                if amps <= max(limit, 1.05 * abs(float(h.amps[e.branch]))):
                    continue
                seconds = wire_of(area).adiabatic_a2s / amps**2
                opens = _opens(f, _through(f, x))
                if opens is not None and opens < seconds:
                    continue  # the bypass's fuse is sooner
                if seconds < found.get(e.part, Burns(e.part, SLOW_S, 0.0, "")).seconds:
                    found[e.part] = Burns(e.part, seconds, amps, name)
    return tuple(sorted(found.values(), key=lambda b: (b.seconds, b.wire)))


def _if(suspect: str) -> str:
    return f" if {suspect}" if suspect else ""


def _said(d: Danger) -> Iterator[str]:
    if d.cranks:
        yield (
            f"the engine may crank ({', '.join(d.cranks)}): out of gear, wheels chocked, nobody near belts"
        )
    for b in d.burns[:1]:
        lasts = f"{b.wire} reaches its limit after {b.seconds:.1f} s at {rounded(b.amps, 'A')}"
        yield f"{lasts}{_if(b.suspect)}: shorter tries only"
    for name, amps, limit in d.outputs:
        yield (f"the output {name} is overloaded by cold lamps ({rounded(amps, 'A')}, limit "
               f"{rounded(limit, 'A')})")  # fmt: skip
    if d.wakes:
        yield f"it wakes {', '.join(d.wakes)}"
    if d.rails:
        more = " and more" if len(d.rails) > MOST_RAILS else ""
        yield f"it makes live what should be dead: {', '.join(d.rails[:MOST_RAILS])}{more}"
    soon = d.opens_s is not None and d.opens_s <= SLOW_S
    opens = f"; its fuse opens within {d.opens_s:g} s" if soon else ""
    yield f"at most {rounded(d.worst_a, 'A')} through the bypass{_if(d.worst_if)}{opens}"


__all__ = ["Burns", "Danger", "booster", "bridge", "danger"]
