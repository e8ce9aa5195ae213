"""Tests that change something first: a look inside, a plug parted, a fuse pulled, a relay swapped, a bypass
(bypasses), a cheap repair tried. After each, an earlier abnormal reading or the failing function is read
again, as a standing condition of the readings file.

Never offered: parting or bridging anything of restraint, high voltage, brakes, steering, immobiliser; a
bypass of a function that has an interlock (a booster cable passes none); and no bridge towards what must
stay off (refuse classes of the sheet).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from amptrail.circuit.model import Circuit, Must, Part, Term, key
from amptrail.circuit.tables import value
from amptrail.jobs.evidence import looks as seen
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.words import function_of
from amptrail.jobs.judging import bypasses, twins
from amptrail.jobs.judging.offers import asked
from amptrail.jobs.judging.panel import Candidate, Live
from amptrail.jobs.solved.access import HOW_MINUTES, place_of_part, travel_minutes
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import never
from amptrail.jobs.solved.observe import Observation, failing
from amptrail.jobs.solved.session import reachable_phases
from amptrail.jobs.solved.spots import Spot

WORTH_A_LOOK = 0.02  # probability from which a place is looked at
WORTH_A_REPAIR = 0.05
SEES = 0.5  # a look that finds less often than this is not proposed
LOOK_MIN = {"fuse": 0.3, "link": 0.5, "connector": 1.5, "box": 1.5, "relay": 1.0}
PULL_MIN, SWAP_MIN = 0.3, 1.0
MOST_PLUGS, MOST_FUSES, MOST_WATCHED, MOST_REPAIRS, MOST_BYPASSES = 8, 6, 2, 3, 5
CHEAP_REPAIR_MIN = 15.0
ABNORMAL_SIGMAS = 4.0
SWAPPED = ("relay", "fuse", "lamp", "led", "sensor")  # what changes places in a minute


def _parts(circuit: Circuit) -> dict[str, Part]:
    return {key(p.name): p for p in circuit.parts}


def looks(j: Judgement, alive: Live, phase: int) -> Iterator[Candidate]:
    """Where something would be seen if it is what is thought; needs no instrument."""
    mass: dict[str, float] = {}
    parts = _parts(j.circuit)
    for h, p in zip(alive.index, alive.probability, strict=True):
        for c in j.suspects[h].causes:
            if any(x.hit >= SEES for x in c.looks):
                for name in dict.fromkeys(key(f.at.part) for f in c.faults):
                    mass[name] = mass.get(name, 0.0) + float(p)
    for name, p in mass.items():
        part = parts.get(name)
        if part is None or p < WORTH_A_LOOK or part.kind == "wire" or never(j.circuit, Term(part.name, "")):
            continue
        said = Observation(0, "", "looks", None, part=part.name)
        at, place = Spot(part.name, "volts", Term(part.name, "")), place_of_part(j.circuit, part)
        yield Candidate(
            at, "eye", phase, Conditions(), place,
            LOOK_MIN.get(part.kind, 1.0), "look", "look", said,
            seen.words(part.kind),
        )  # fmt: skip


# ---- what is read again -----------------------------------------------------------------------------
def _abnormal(j: Judgement) -> list[Observation]:
    """Earlier readings that a sound vehicle would not give, the most abnormal first."""
    z = np.abs(j.post.scored[0].numbers.z[0]) if j.seen.numbers else np.zeros(0)
    order = np.argsort(-z, kind="stable")
    found = [j.seen.numbers[int(i)] for i in order if z[int(i)] > ABNORMAL_SIGMAS]
    return [
        o
        for o in found
        if o.conditions.as_told == Conditions() and o.phase is not None and o.spot is not None
    ][:MOST_WATCHED]


def failing_functions(j: Judgement) -> list[tuple[Must, int]]:
    """Functions told to fail, with the phase."""
    out: dict[tuple[str, int], tuple[Must, int]] = {}
    for o in failing(j.seen.words):
        m = function_of(j.circuit, o.part or "")
        if m is not None and o.phase is not None:
            out.setdefault((m.name, o.phase), (m, o.phase))
    return list(out.values())[:MOST_WATCHED]


def _again(j: Judgement, c: Conditions, part: Part, action: str, minutes: float) -> Iterator[Candidate]:
    """The abnormal readings and the failing functions under a standing condition."""
    place = place_of_part(j.circuit, part)
    for o in _abnormal(j):
        if o.spot is None or o.phase is None:
            continue
        there = place_of_part(j.circuit, _parts(j.circuit).get(key(o.spot.a.part), part))
        walk = 2 * travel_minutes(j.circuit, place, there)
        yield Candidate(o.spot, o.tool, o.phase, c, place, minutes + walk + 1.0, action, action)
    for m, phase in failing_functions(j):
        yield replace(asked(j.circuit, m, phase, c, action), place=place, minutes=minutes + 0.5, how=action)


def unplugged(j: Judgement) -> Iterator[Candidate]:
    """Plugs parted and fuses pulled, and what was abnormal read again."""
    circuit = j.circuit
    plugs = [p for p in circuit.parts if p.kind == "connector" and not never(circuit, Term(p.name, ""))]
    for p in plugs[:MOST_PLUGS]:
        if not _refused(circuit, p):
            c = Conditions(unplugged=(p.name,))
            yield from _again(j, c, p, "unplug", HOW_MINUTES["open-plug"])
    drawn = [o for o in _abnormal(j) if o.tool == "clamp"]
    fuses = [p for p in circuit.parts if p.kind == "fuse"]
    for p in fuses[:MOST_FUSES] if drawn else []:
        for o in drawn:
            if o.spot is not None and o.phase is not None:
                place, without = place_of_part(circuit, p), Conditions(pulled=(p.name,))
                yield Candidate(o.spot, "clamp", o.phase, without, place, PULL_MIN + 1.0, "unplug", "unplug")


def parted(j: Judgement, part: Part) -> Iterator[Candidate]:
    """The plug of one part off, and what was abnormal read again: is it the part, or its leads?"""
    if not _refused(j.circuit, part) and not never(j.circuit, Term(part.name, "")):
        yield from _again(j, Conditions(unplugged=(part.name,)), part, "unplug", HOW_MINUTES["open-plug"])


def _refused(circuit: Circuit, part: Part) -> bool:
    """Of a class that is never tried on: neither parted nor bridged as a test."""
    return any(key(r.part) == key(part.name) for r in circuit.refuses)


def _touched(j: Judgement, alive: Live, least: float) -> dict[str, tuple[float, float]]:
    """Part -> (probability, minutes) of live single explanations whose repair is that part."""
    out: dict[str, tuple[float, float]] = {}
    for h, p in zip(alive.index, alive.probability, strict=True):
        causes = j.suspects[h].causes
        if len(causes) == 1 and causes[0].faults:
            name = key(causes[0].faults[0].at.part)
            before = out.get(name, (0.0, 0.0))
            out[name] = (before[0] + float(p), max(before[1], causes[0].repair_minutes))
    return {n: x for n, x in out.items() if x[0] >= least}


def _has_twin(circuit: Circuit, part: Part) -> bool:
    """A part declared like it, or another relay of the same kind in the vehicle, to swap with."""
    if twins.alike(circuit, part.name):
        return True

    def alike(p: Part) -> tuple[object, object]:
        return value(p, "coil_ohm"), value(p, "layout")

    relays = [p for p in circuit.parts if p.kind == "relay" and p.name != part.name]
    return part.kind == "relay" and any(alike(p) == alike(part) for p in relays)


def swapped(j: Judgement, alive: Live) -> Iterator[Candidate]:
    """Relays swapped with a like one, cheap repairs tried."""
    circuit, parts = j.circuit, _parts(j.circuit)
    touched = _touched(j, alive, WORTH_A_REPAIR)
    for name, (_, minutes) in sorted(touched.items(), key=lambda x: -x[1][0])[:MOST_REPAIRS]:
        part = parts.get(name)
        if part is None or _refused(circuit, part) or part.name in j.renewed:
            continue
        c = Conditions(replaced=(part.name,))
        if part.kind in SWAPPED and _has_twin(circuit, part):
            yield from _functions(j, c, part, "swap", SWAP_MIN)
        elif minutes <= CHEAP_REPAIR_MIN:
            yield from _functions(j, c, part, "repair", minutes)


def _worth_bypassing(j: Judgement, alive: Live) -> Iterator[bypasses.Bypass]:
    """The bypasses of the likeliest relay, the coils in question and the failing loads."""
    circuit, parts = j.circuit, _parts(j.circuit)
    failing = [(m, parts.get(key(m.a.part))) for m, _ in failing_functions(j) if m.a is not None]
    for _, load in failing:
        if load is not None and not _refused(circuit, load):
            yield from bypasses.boosted(circuit, load)
    mass = _touched(j, alive, WORTH_A_REPAIR)
    likeliest = sorted(mass, key=lambda name: -mass[name][0])[:MOST_REPAIRS]
    blown = [p for p in map(parts.get, likeliest) if p is not None and p.kind == "fuse"]
    for fuse in blown[:1]:
        yield from bypasses.in_fuse_place(circuit, fuse)
    barred = {key(x.function) for x in circuit.interlocks}
    if any(key(m.name) in barred or (p is not None and _refused(circuit, p)) for m, p in failing):
        return
    relays = [p for p in map(parts.get, likeliest) if p is not None and p.kind == "relay"]
    for relay in [p for p in relays if not _refused(circuit, p)][:1]:
        yield from bypasses.across(circuit, relay)
    yield from bypasses.coil_grounded(circuit, frozenset(mass))
    for m, load in failing:
        if load is not None and m.a is not None:
            yield from bypasses.load_fed(circuit, load, m.a)


def bypassed(j: Judgement, alive: Live) -> Iterator[Candidate]:
    """What fails tried again with a bypass fitted, or the volts that a lamp in its place lets through."""
    phases = sorted({phase for _, phase in failing_functions(j)})
    every = {b.conditions: b for b in _worth_bypassing(j, alive)}
    lives = reachable_phases(j.circuit)
    for b in list(every.values())[:MOST_BYPASSES]:
        if b.meter_at is None:
            for t in _functions(j, b.conditions, b.part, "bypass", b.minutes):
                yield replace(t, how=b.how)
            continue
        spot, place = Spot(str(b.meter_at), "volts", b.meter_at), place_of_part(j.circuit, b.part)
        # a short behind a fuse shows wherever it is fed: at rest before any switch, else behind it
        for phase in lives if b.how == "fuse-lamp" else phases:
            yield Candidate(spot, "meter", phase, b.conditions, place, b.minutes, b.how, "bypass")


def _functions(j: Judgement, c: Conditions, part: Part, action: str, minutes: float) -> Iterator[Candidate]:
    for m, phase in failing_functions(j):
        here = asked(j.circuit, m, phase, c, action)
        yield replace(here, place=place_of_part(j.circuit, part), minutes=minutes, how=action)
