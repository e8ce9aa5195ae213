"""Instruments at a settled moment: connect, settle again with time stopped, look."""

from __future__ import annotations

import math
from dataclasses import dataclass

from amptrail.circuit.model import Term, key
from amptrail.twin.bench import Element, refuse
from amptrail.twin.laws import V_T, Law
from amptrail.twin.nodal import Solution, solve
from amptrail.twin.settle import Machine, Settled
from amptrail.twin.state import Clock, State, frozen
from amptrail.twin.walk import Instant, node

# what an instrument puts between its leads (the format's own text; the LED tester: common practice, 2 V at
# 10 mA behind 1 kohm)
BURDENS: dict[str, tuple[Law, tuple[float, ...]]] = {
    "meter": ("res", (10e6, 0.0)), "fuse-drop": ("res", (10e6, 0.0)), "scope": ("res", (10e6, 0.0)),
    "lamp": ("lamp", (12.0, 5.0)), "testlamp": ("lamp", (12.0, 5.0)),
    "loaded": ("res", (3.0, 0.0)), "probe": ("res", (3.0, 0.0)),
    "led": ("diode", (0.01 / math.exp(2.0 / (2.0 * V_T)), 2.0, 1000.0)),
}  # fmt: skip
OHMMETER_V, OHMMETER_OHM, OVER_RANGE_OHM = 0.4, 1000.0, 20e6
LEADS = Term("", "instrument")


@dataclass(frozen=True)
class Got:
    """What the instrument shows: `value`, or None and [low, high] when it never comes to rest."""

    value: float | None
    low: float
    high: float
    disturbs: tuple[str, ...]


def burden(
    m: Machine, instrument: str, a: Term, b: Term | None = None, numbers: tuple[float, ...] = ()
) -> list[Element]:
    """An instrument's own load between two points, as elements. `numbers` replace its usual ones: ohm of a
    meter or load, V and W of a lamp, A x ohm of an LED tester."""
    if instrument not in BURDENS:
        raise refuse("instrument", f"the twin connects no {instrument}", f"One of {', '.join(BURDENS)}.")
    law, usual = BURDENS[instrument]
    p = numbers or usual
    ends = node(m, a), node(m, b)
    if law == "res":
        return [Element(LEADS, law, *ends, (p[0], 0.0))]
    if law == "diode":
        inside = m.f.bench.hidden("instrument junction")
        return [
            Element(LEADS, "res", ends[0], inside, (p[2], 0.0)),
            Element(Term("", "instrument junction"), law, inside, ends[1], p[:2]),
        ]
    return [Element(LEADS, law, *ends, p)]


def changed(before: State, after: State) -> tuple[str, ...]:
    """The states an instrument changed, in the words of the oracle's truth files, sorted."""
    names: set[str] = set()
    for word, a, b in (
        ("relay", before.energised, after.energised),
        ("fuse", before.fuses_open, after.fuses_open),
        ("alt", before.excited, after.excited),
        ("alive", before.alive, after.alive),
    ):
        names |= {f"{word}.{n}" for n in a ^ b}
    for word, c, d in (
        ("in", before.inputs, after.inputs),
        ("sig", before.signals, after.signals),
        ("drv", before.on, after.on),
        ("trip", before.tripped, after.tripped),
    ):
        names |= {f"{word}.{x}.{y}" for x, y in c ^ d}
    return tuple(sorted(names))


def read(
    moment: Instant,
    a: Term,
    b: Term | None = None,
    instrument: str = "meter",
    numbers: tuple[float, ...] = (),
) -> Got:
    """Volts from a to b (None: the battery's minus post) with the instrument's own load fitted."""
    m = moment.machine
    loaded = m.with_elements(*burden(m, instrument, a, b, numbers))
    clock = Clock(moment.clock.now, moment.phase, dict(moment.clock.timers))
    got = loaded.settle(moment.state, clock)
    law = BURDENS[instrument][0]
    return _shown(got, (node(m, a), node(m, b)), changed(moment.state, got.state), law == "lamp")


def _seen(s: Solution, ends: tuple[int, int], by_heat: bool) -> float:
    """Volts between two nodes: their mean, or on a pulsed supply what a filament is heated by."""
    across = s.volts[ends[0]] - s.volts[ends[1]]
    if not by_heat or not s.within:
        return across
    square = math.fsum(w * (p.volts[ends[0]] - p.volts[ends[1]]) ** 2 for w, p in s.within)
    return math.copysign(math.sqrt(square), across)


def _shown(got: Settled, ends: tuple[int, int], disturbs: tuple[str, ...], by_heat: bool) -> Got:
    tour = got.tour or (got.solution,)
    values = [_seen(t, ends, by_heat) for t in tour]
    low, high = min(values), max(values)
    steady = got.status != "chatter" or high - low <= max(1e-3, 1e-3 * abs(high))
    return Got(_seen(got.solution, ends, by_heat) if steady else None, low, high, disturbs)


def read_ohms(moment: Instant, a: Term, b: Term | None = None) -> float | None:
    """Ohms from a to b: battery and charger off, modules unpowered, fuses as they are. None: over range."""
    m = moment.machine
    shorted = frozenset(d for d in m.drivers if m.f.driven.get((key(d[0]), key(d[1]))))
    state = State(fuses_open=moment.state.fuses_open, on=shorted)
    here = [e for e in frozen(m.f, state, None) if e.law not in ("cell", "oneway")]
    ends = node(m, a), node(m, b)
    source = Element(Term("", "ohmmeter"), "res", *ends, (OHMMETER_OHM, OHMMETER_V))
    bench = m.f.bench
    got = solve([*here, source], len(bench.names), bench.hubs, m.reference)
    volts = got.volts[ends[0]] - got.volts[ends[1]]
    amps = (OHMMETER_V - volts) / OHMMETER_OHM
    if amps <= 0 or volts / amps > OVER_RANGE_OHM:
        return None
    return volts / amps
