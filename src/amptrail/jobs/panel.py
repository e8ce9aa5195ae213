"""The panel: every test a person could do now, and what each live explanation makes it read.

Live explanations are condensed to a few severities with the weight the readings leave them. A pin under a
fitted relay is offered only with that relay out; what must not be probed is never offered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.instruments import by_name
from amptrail.jobs import engine
from amptrail.jobs.access import Access, access, start_place, touchable
from amptrail.jobs.forbidden import meter_only, never
from amptrail.jobs.judgement import Judgement
from amptrail.jobs.observe import Conditions
from amptrail.jobs.predict import with_severity
from amptrail.jobs.spots import Spot, battery_minus

Array = NDArray[np.float64]
LIVE_LEAST = 2e-4
LIVE_MOST = 64
QUANTILES = ((0, 0.25), (1, 0.5), (2, 0.25))  # low, median, high of the severity and their weights
LOADS = ("motor", "lamp", "solenoid", "heater", "ptc", "load", "starter", "led")


@dataclass(frozen=True, slots=True)
class Candidate:
    """One test: `spot` with `instrument` in phase (index) under `conditions`; where and how it is reached."""

    spot: Spot
    instrument: str
    phase: int
    conditions: Conditions
    place: str
    minutes: float
    how: str
    asks: str | None = None  # a function asked about instead of a reading


@dataclass(frozen=True, eq=False)
class Live:
    """Explanations still alive: index into the judgement's suspects, probability, faults, weights."""

    index: tuple[int, ...]
    probability: Array
    rows: tuple[tuple[engine.Faults, ...], ...]
    weight: Array  # [live, 3]


def live(j: Judgement, least: float = LIVE_LEAST, most: int = LIVE_MOST) -> Live:
    """The heaviest explanations, each at the low, middle and high end of its estimated severity."""
    p = j.post.probability
    index = tuple(h for h in j.post.ranking()[:most] if p[h] >= least) or (j.post.ranking()[0],)
    rows: list[tuple[engine.Faults, ...]] = []
    weight = np.zeros((len(index), 3))
    for i, h in enumerate(index):
        s, severity = j.suspects[h], j.post.severity[h]
        faults = tuple(f for c in s.causes for f in c.faults)
        if severity is None:
            rows.append((faults, faults, faults))
            weight[i] = (0.0, 1.0, 0.0)
            continue
        ends = []
        for pick in ("low", "ohm", "high"):
            ohms = [getattr(severity, pick)] + ([getattr(severity.other, pick)] if severity.other else [])
            ends.append(with_severity(faults, ohms))
        rows.append(tuple(ends))
        weight[i] = [w for _, w in QUANTILES]
    return Live(index, np.asarray(p[list(index)]), tuple(rows), weight)


def _points(circuit: Circuit) -> list[tuple[Access, Conditions]]:
    ground = battery_minus(circuit)
    out = []
    for a in touchable(circuit):
        if never(circuit, a.term) or a.how == "pierce" or str(a.term) == str(ground):
            continue
        out.append((a, Conditions(out=(a.relay_out,)) if a.relay_out else Conditions()))
    return out


def _drops(circuit: Circuit) -> list[tuple[Spot, Access]]:
    """Differential readings: across a load, and from a ground leg to battery negative."""
    out = []
    for p in circuit.parts:
        if p.kind in LOADS:
            a, b = Term(p.name, "in"), Term(p.name, "out")
            got = access(circuit, a)
            if got and access(circuit, b) and not never(circuit, a):
                out.append((Spot(str(a), "volts", a, b), got))
    return out


def _currents(circuit: Circuit) -> list[tuple[Spot, str, float]]:
    """Clamp round the lead of a fuse or load."""
    found = []
    for p in circuit.parts:
        if p.kind in (*LOADS, "battery", "fuse") and p.kind != "starter":
            term = Term(p.name, "+" if p.kind == "battery" else "in")
            got = access(circuit, term)
            if got:
                found.append((Spot(p.name, "amps", Term(p.name, "")), got.place, 1.0))
    return found


def candidates(
    circuit: Circuit, reachable: Sequence[int], have: Sequence[str], barred: Sequence[str]
) -> list[Candidate]:
    """Every test worth considering in the phases that can be reached, with the instruments at hand."""
    no = {key(b) for b in barred}
    volts = [i for i in ("meter", "lamp", "loaded") if i in have]
    out: list[Candidate] = []
    for a, c in _points(circuit):
        if key(str(a.term)) in no:
            continue
        for phase in reachable:
            for i in volts:
                if i != "meter" and meter_only(circuit, a.term):
                    continue
                out.append(
                    Candidate(Spot(str(a.term), "volts", a.term), i, phase, c, a.place, a.minutes, a.how)
                )
    if "meter" in have:
        for s, a in _drops(circuit):
            if key(s.name) not in no:
                out += [
                    Candidate(s, "meter", p, Conditions(), a.place, a.minutes * 1.5, a.how) for p in reachable
                ]
    if "clamp" in have:
        for s, place, minutes in _currents(circuit):
            if key(s.name) not in no:
                out += [Candidate(s, "clamp", p, Conditions(), place, minutes, "clamp") for p in reachable]
    out += _questions(circuit, reachable)
    return out


def _questions(circuit: Circuit, reachable: Sequence[int]) -> list[Candidate]:
    """Does it work? Free, for every function in the phases where it must, and every lamp or motor."""
    cycle = drive_cycle(circuit)
    out = []
    for m in circuit.musts:
        for phase in reachable:
            if names_phase(circuit, cycle[phase], m.on) and m.a is not None:
                out.append(
                    Candidate(
                        Spot(m.name, "volts", m.a, m.b),
                        "eye",
                        phase,
                        Conditions(),
                        start_place(circuit),
                        0.3,
                        "look",
                        asks=m.name,
                    )
                )
    return out


@dataclass(frozen=True, eq=False)
class Panel:
    """Predictions of every candidate: `value[live, q, test]`, `spread` alike (one sigma of tolerances)."""

    live: Live
    tests: tuple[Candidate, ...]
    value: Array
    sigma: Array
    disturbs: tuple[tuple[str, ...], ...]


def panel(circuit: Circuit, alive: Live, tests: Sequence[Candidate]) -> Panel:
    """Every candidate read on every live explanation."""
    rows = [r for three in alive.rows for r in three]
    value = np.zeros((len(rows), len(tests)))
    disturbs: list[tuple[str, ...]] = [()] * len(tests)
    for c in dict.fromkeys(t.conditions for t in tests):
        got = engine.solved(circuit, rows, c)
        pick = [k for k, t in enumerate(tests) if t.conditions == c]
        jobs = [
            (tests[k].spot, "meter" if tests[k].asks else tests[k].instrument, tests[k].phase) for k in pick
        ]
        values, moved = got.measure(jobs)
        value[:, pick] = values
        for k, names in zip(pick, moved, strict=True):
            disturbs[k] = names
    sigma = np.asarray([_sigma(t, value[:, k]) for k, t in enumerate(tests)])
    return Panel(alive, tuple(tests), value.reshape(len(alive.index), 3, -1), sigma, tuple(disturbs))


def _sigma(t: Candidate, values: Array) -> float:
    """What a person with this instrument can tell apart here: its own error and the tolerances together."""
    top = float(np.max(np.abs(values))) if len(values) else 0.0
    instrument = by_name("meter" if t.asks else t.instrument)
    own = float(instrument.sigma(top))
    return max(own, 0.01 * top, 0.02 if t.spot.what == "volts" else 0.005)
