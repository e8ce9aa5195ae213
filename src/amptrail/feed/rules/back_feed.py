"""No current runs where the healthy vehicle has none: no output driven backwards, no module held alive or
woken through its pins, no rail live that should be dead, no sensor rail above its volts.

Danger: sensors burnt by 12 V on their 5 V rail; an output stage heated through its body diode; a controller
kept alive through an output; an ignition rail that stays live behind the key.
"""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet

from amptrail.circuit import tables
from amptrail.circuit.model import GroundPin, Reference, Supply, Term, key
from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant
from amptrail.feed.example import Example
from amptrail.feed.flags import BACK_FEED_A, BACK_FEED_TIMES
from amptrail.feed.graph import FUSES, RUN, edges, plus, reach, spelled
from amptrail.feed.graph import at as at_node
from amptrail.feed.loads import LOAD_KINDS
from amptrail.feed.marks import ALWAYS, Mark, most, state
from amptrail.feed.measures import at, by_phase, reverse_a, shut
from amptrail.feed.shape import feed_edges, grounded_in_sheet, opened

NAME, SEVERITY = "back_feed", ALWAYS
BAD = (
    Example("rear.sheet", "from F3.out to TAIL_L.in fuse 10 A wire 1 mm2 2 m", "FB open"),
    Example("charge.sheet", "from F4.out to ALT.D+ fuse 5 A wire 0.75 mm2 1 m cut W8, W9", "CHG open"),
)
GOOD = (
    Example("rear.sheet", "from SL.1 to WORK.in fuse 7.5 A wire 1 mm2 3 m cut W5, W6", "W5 open"),
    Example("charge.sheet", "DJR33", "CHG open"),
)
CONSUMERS = (*LOAD_KINDS, "coil", "diode", "module")
FORWARD = (*FUSES, "switch", "contact", "module")
LIVE_V, TWICE = 3.0, 2.0  # a rail above 3 V wakes what hangs on it (common practice)
TOO_HIGH = 1.3  # of what a load has in the sound vehicle, and of one battery (common practice)
TOO_MUCH = 1.2  # of the volts a reference makes: what it feeds bears little more (common practice)


def marks(case: Case) -> Iterator[Mark]:
    healthy = by_phase([case.beside("asleep")], reverse_a)
    rails = () if case.oracle or not case.feeding else _rails(case)
    sensors = () if case.oracle or not case.feeding else _sensor_rails(case)
    if case.feeding and not case.oracle:
        yield from _too_high(case)
    for story in case.stories():
        for x, h in zip(story.instants, case.beside(story.start).instants, strict=True):
            for name, amps in reverse_a(x).items():
                base = max(at(healthy, x.phase, name), 0.0)
                limit = max(BACK_FEED_A, BACK_FEED_TIMES * base + BACK_FEED_A)
                yield most(NAME, story.start, x.phase_name, name, max(amps, 0.0), limit, "A")
            if not case.oracle and case.feeding:
                yield from _effects(case, x, h, rails)
            for name, run, volts in sensors if x.steady else ():
                worst = max(abs(float(x.volts[n])) for n in run)
                limit = TOO_MUCH * volts
                yield most(NAME, story.start, x.phase_name, name, worst, limit, "V", sensors="yes")


def _too_high(case: Case) -> Iterator[Mark]:
    """A consumer that gets more than its share of a vehicle of several batteries: 24 V on a 12 V radio."""
    net = case.network
    block = max((tables.number(p, "emf_v") for p in net.circuit.parts if p.kind == "battery"), default=0.0)
    nodes = {name: [net.wires.node(t) for t in ends] for name, ends in _ends(case).items()}
    joined = {name: (a, b) for name, (a, b) in nodes.items() if a is not None and b is not None}

    def volts(x: Instant, name: str) -> float:
        a, b = joined[name]
        return abs(float(x.volts[a] - x.volts[b]))

    usual = {name: max(volts(x, name) for x in case.beside("asleep").instants) for name in joined}
    for story in case.stories():
        for x in (x for x in story.instants if x.steady):
            for name, most_v in usual.items():
                limit = TOO_HIGH * max(most_v, block)
                yield most(NAME, story.start, x.phase_name, name, volts(x, name), limit, "V", burns="yes")


def _ends(case: Case) -> dict[str, tuple[Term, Term]]:
    """Between which terminals each consumer is fed: a load, the winding of a relay, a supply of a module."""
    found = {p.name: (Term(p.name, "in"), Term(p.name, "out")) for p in case.circuit.parts
             if p.kind in LOAD_KINDS}  # fmt: skip
    for p in case.circuit.parts:
        if p.kind == "relay":
            found[p.name] = (Term(p.name, "86"), Term(p.name, "85"))
    ground = {key(x.module): Term(x.module, x.pin) for x in case.circuit.modules if isinstance(x, GroundPin)}
    for x in case.circuit.modules:
        if isinstance(x, Supply) and key(x.module) in ground:
            found[f"{x.module}.{x.pin}"] = (Term(x.module, x.pin), ground[key(x.module)])
    return found


def _sensor_rails(case: Case) -> tuple[tuple[str, frozenset[int], float], ...]:
    """What the references of modules feed: (pin, metals, volts), broken leads taken as whole."""
    net, own = case.network, {e.branch for e in feed_edges(case.fitted)}
    found = []
    for x in net.circuit.modules:
        if isinstance(x, Reference):
            pin = net.node(Term(x.module, x.pin))
            found.append((f"{x.module}.{x.pin}", frozenset(reach(net, [pin], RUN, own)), x.volts))
    return tuple(found)


def _rails(case: Case) -> tuple[tuple[str, int], ...]:
    """Metals that are rails: (name, node), one for each run of copper. A rail feeds a module or more than
    one consumer; a run that leads to one load only is that load's own wire."""
    f = case.fitted
    own = {e.branch for e in feed_edges(f)}
    off = own | opened(f)
    done = set(grounded_in_sheet(f)) | {plus(f.network)}
    found: list[tuple[str, int]] = []
    for e in edges(f.network):
        if e.branch in off or e.kind not in (*FUSES, "switch", "contact"):
            continue
        for node in (e.a, e.b):
            if node not in done:
                run = reach(f.network, [node], RUN, off)
                done |= set(run)
                if _feeds_several(case, frozenset(run), own):
                    found.append((spelled(f.network, node), node))
    return tuple(found)


def _feeds_several(case: Case, run: frozenset[int], off: AbstractSet[int]) -> bool:
    """Whether a run as drawn leads, through fuses too, to a module or to more than one consumer."""
    net = case.network
    wide = reach(net, run, (*RUN, *FUSES), off)
    at_ends = {(e.kind, key(e.part)) for n in wide for e in at_node(net, n) if e.branch not in off}
    consumers = {part for kind, part in at_ends if kind in CONSUMERS}
    return len(consumers) > 1 or any(kind == "module" for kind, _ in at_ends)


def _forward(case: Case, x: Instant) -> set[int]:
    """Metals that are live as they are meant to be: from a source through the sheet's own closed gates."""
    net, f = case.network, case.fitted
    off = {e.branch for e in feed_edges(f)} | opened(f)
    off |= {e.branch for e in edges(net) if e.kind in FORWARD and not shut(x, e.branch)}
    sources = [plus(net)]
    sources += [net.node(Term(p.name, "B+")) for p in net.circuit.parts if p.kind == "alternator"]
    return set(reach(net, sources, (*RUN, *FORWARD), off))


def _effects(case: Case, x: Instant, h: Instant, rails: tuple[tuple[str, int], ...]) -> Iterator[Mark]:
    start = x.story.start
    bed = case.network.phases[x.phase].base == "asleep"
    for module in case.network.modules:
        alive, usual = (_alive(i, module) for i in (x, h))
        woken = module in x.state.modules_awake and module not in h.state.modules_awake and not bed
        if (alive and not usual) or woken:
            yield state(NAME, start, x.phase_name, module, True, False)
    if not (x.steady and h.steady):
        return
    live = [r for r in rails if abs(float(h.volts[r[1]])) <= LIVE_V]
    forward = _forward(case, x) if any(abs(float(x.volts[n])) > LIVE_V for _, n in live) else set()
    for name, node in live:
        if node not in forward:
            limit = max(LIVE_V, TWICE * abs(float(h.volts[node])))
            yield most(NAME, start, x.phase_name, name, abs(float(x.volts[node])), limit, "V")


def _alive(x: Instant, module: str) -> bool:
    net = x.story.network
    return bool(x.bits[int(net.static.at[1]) + net.modules.index(module)])
