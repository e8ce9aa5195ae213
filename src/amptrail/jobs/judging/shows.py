"""The reading that would show a line of a sheet, or part two suspects: the cheapest that is allowed.

Every candidate is read exactly on what is claimed and on every counter-case still open; it shows the line
when no counter-case could read like it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.senses import brightness
from amptrail.circuit.model import Circuit, Fault, GroundPin, Reference, Supply, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.circuit.wiring import wiring
from amptrail.instruments import by_name
from amptrail.jobs.base.context import Json
from amptrail.jobs.evidence.words import LAMP_V, function_of, lamp_v
from amptrail.jobs.judging import offers
from amptrail.jobs.judging.cautions import cautions_for
from amptrail.jobs.judging.claims import LOADS, Demand
from amptrail.jobs.judging.desk import INTO_PHASE_MIN, MEASURE_MIN, setup_minutes
from amptrail.jobs.judging.lines import phase_of, reading_line
from amptrail.jobs.judging.outcomes import words_between
from amptrail.jobs.judging.panel import Candidate, read_off
from amptrail.jobs.judging.poweroff import beside
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.access import access, start_place, touchable, travel_minutes
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import meter_only, never
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.jobs.solved.predicted import log_sigma
from amptrail.jobs.solved.spots import Spot, battery_plus
from amptrail.sheet.words import free_text, name_text

Array = NDArray[np.float64]
Cases = Sequence[tuple[Fault, ...]]
INSTRUMENTS = ("meter", "lamp", "loaded", "clamp")
APART_SIGMAS = 5.0  # as far apart as a person surely tells (outcomes.APART_SIGMAS)
MOST_TRIED, MOST_TESTS = 24, 3
OFF_MIN = 3.0  # to take the battery off and put it on again (common practice)
TOLERANCE = 0.01  # what parts and battery leave open of a reading, one sigma (as panel takes it)
LEAST_OHM, OVER_OHM = 0.05, 20e6
UNIT = {"volts": "V", "amps": "A", "ohms": "ohm"}
RIGHT = (("right", "right"), ("wrong", "wrong"))


@dataclass(frozen=True, eq=False)
class Offer:
    """A test with what it shows when the line is true (`good`) and otherwise (`bad`)."""

    test: Candidate
    line: str
    good: str
    bad: str
    minutes: float
    disturbs: tuple[str, ...] = ()


def offer_json(circuit: Circuit, x: Offer) -> Json:
    """An offer as data (docs/json.md, condemn)."""
    t = x.test
    return {
        "line": x.line,
        "point": t.said.part if t.said is not None else t.spot.name,
        "to": str(t.spot.b) if t.spot.b and t.said is None else None,
        "instrument": t.instrument,
        "own": t.tool.partition(" ")[2] or None,
        "phase": phase_of(circuit, t),
        "place": t.place,
        "minutes_min": x.minutes,
        "good": x.good,
        "bad": x.bad,
        "cautions": cautions_for(circuit, t, x.disturbs),
    }


# ---- where to look ----------------------------------------------------------------------------------
def _rails(circuit: Circuit) -> frozenset[int | None]:
    """Metals of supply and ground pins that carry nothing finer: a lamp there is the proof under load, and
    harms nothing (JOB.md section 1.6 keeps it off outputs, 5 V lines and bus wires)."""
    w = wiring(circuit)
    rails = {w.node(Term(x.module, x.pin)) for x in circuit.modules if isinstance(x, (Supply, GroundPin))}
    finer = {w.node(Term(x.module, x.pin)) for x in circuit.modules
             if not isinstance(x, (Supply, GroundPin)) and hasattr(x, "pin")}  # fmt: skip
    return frozenset(rails - finer)


def _tools(circuit: Circuit, at: Term, have: Sequence[str]) -> list[str]:
    """Instruments that may touch a terminal."""
    if never(circuit, at):
        return []
    draws = not meter_only(circuit, at) or wiring(circuit).node(at) in _rails(circuit)
    return [i for i in ("meter", "lamp", "loaded") if i in have and (draws or i == "meter")]


def _more(circuit: Circuit, at: Term, phases: Sequence[int], have: Sequence[str]) -> Iterator[Candidate]:
    """Beside what `next` offers: the other lead on battery plus, a load across the part, a lamp at a rail."""
    plus = battery_plus(circuit)
    part = next((p for p in circuit.parts if key(p.name) == key(at.part)), None)
    ways = [a for a in touchable(circuit) if a.node == wiring(circuit).node(at)]
    for a in ways:
        c = Conditions(out=(a.relay_out,)) if a.relay_out else Conditions()
        for i in _tools(circuit, a.term, have):
            for s in (Spot(str(a.term), "volts", plus, a.term), Spot(str(a.term), "volts", a.term)):
                yield from (Candidate(s, i, p, c, a.place, a.minutes, a.how) for p in phases)
    if part is None or part.kind not in LOADS or not ways:
        return
    ends = [Term(part.name, "in"), Term(part.name, "out")]
    if any(wiring(circuit).node(t) is None for t in ends):
        return
    for i in _tools(circuit, ends[0], have):
        s = Spot(str(ends[0]), "volts", *ends)
        for p in phases:
            yield Candidate(s, i, p, Conditions(), ways[0].place, ways[0].minutes * 1.5, ways[0].how)


def sockets(circuit: Circuit) -> list[Candidate]:
    """The pins of every relay socket, the other lead on battery plus: what the relay itself hides."""
    phases = range(len(drive_cycle(circuit)))
    pins = [a.term for a in touchable(circuit) if a.relay_out]
    have = offers.in_hand(circuit, INSTRUMENTS)
    return [t for p in pins for t in _more(circuit, p, phases, have)]


def _near(circuit: Circuit, d: Demand, phases: Sequence[int], have: Sequence[str]) -> list[Candidate]:
    """Readings that have the terminal of the demand at one end; every reading where it has none."""
    every = offers.measured(circuit, phases, have, ())
    if d.at is None:
        return every
    n = wiring(circuit).node(d.at)
    return [*(t for t in every if _touches(circuit, t.spot, n)), *_more(circuit, d.at, phases, have)]


def _touches(circuit: Circuit, s: Spot, n: int | None) -> bool:
    w = wiring(circuit)
    return s.what == "volts" and (w.node(s.a) == n or (s.b is not None and w.node(s.b) == n))


def cost(circuit: Circuit, t: Candidate) -> float:
    """Minutes of a test by itself, from where the work starts."""
    base = drive_cycle(circuit)[t.phase].base
    own = setup_minutes(t) + MEASURE_MIN
    into = OFF_MIN if t.instrument == "ohmmeter" else INTO_PHASE_MIN[base]
    place = next((p.minutes or 0.0 for p in circuit.places if key(p.name) == key(t.place)), 0.0)
    return own + place + travel_minutes(circuit, start_place(circuit), t.place) + into


# ---- what it would show -----------------------------------------------------------------------------
def _apart(t: Candidate, own: Array, other: Array) -> NDArray[np.bool_]:
    """For each counter-case, whether it reads unlike everything that is claimed, to a person."""
    tool = by_name(t.reads)
    if t.instrument == "lamp":
        mine = _words(own, lamp_v(t.reads))
        return np.asarray([w not in mine for w in _words(other, lamp_v(t.reads))], bool)
    if t.instrument == "ohmmeter":  # ohms span decades: what differs is how many times as much
        own, other = np.log(np.maximum(own, LEAST_OHM)), np.log(np.maximum(other, LEAST_OHM))
        clear = APART_SIGMAS * log_sigma(float(np.exp(own.min())))
        return np.asarray((other > own.max() + clear) | (other < own.min() - clear), bool)
    top = float(np.abs(own).max())
    sigma = max(tool.sigma(top), TOLERANCE * top, 0.02 if t.spot.what == "volts" else 0.005)
    clear = APART_SIGMAS * sigma
    return np.asarray((other > own.max() + clear) | (other < own.min() - clear), bool)


def _words(volts: Array, rated: float = LAMP_V) -> list[str]:
    """How bright a lamp of so many volts looks at each of these."""
    chance = brightness(np.abs(volts), rated)
    names = list(chance)
    stack = np.stack([np.asarray(chance[n]) for n in names], axis=0)
    return [names[int(k)] for k in stack.argmax(axis=0)]


def lamp_words(volts: float) -> str:
    """How bright a test lamp looks at these volts."""
    return _words(np.asarray([volts]))[0]


def told(t: Candidate, values: Array) -> str:
    """What a person would read: figures, or how bright the lamp is."""
    if t.instrument == "lamp":
        return " or ".join(sorted(set(_words(values, lamp_v(t.reads)))))
    if t.instrument == "ohmmeter" and values.min() >= OVER_OHM:
        return "over range"
    unit = UNIT[t.spot.what]
    low = float(values.min())
    if t.instrument == "ohmmeter" and values.max() >= OVER_OHM:
        return f"{words_between(low, low, unit).removeprefix('about ')} to over range"
    return words_between(low, float(values.max()), unit)


def showing(
    circuit: Circuit, d: Demand, own: Cases, left: Cases, more: Sequence[Candidate] = (),
    tools: Own = STANDARD,
) -> tuple[tuple[Offer, ...], list[tuple[Fault, ...]]]:  # fmt: skip
    """The cheapest allowed readings that together show the line, and the counter-cases none excludes.
    `more`: further tests that may be tried; `tools`: the instruments in hand."""
    phases = d.phases or tuple(range(len(drive_cycle(circuit))))
    have = offers.in_hand(circuit, INSTRUMENTS, tools)
    return excluding(circuit, [*_near(circuit, d, phases, have), *more], own, left, tools)


def excluding(
    circuit: Circuit, some: Sequence[Candidate], own: Cases, left: Cases, tools: Own = STANDARD
) -> tuple[tuple[Offer, ...], list[tuple[Fault, ...]]]:
    """The cheapest of some tests that together exclude the cases left, and the cases none excludes."""
    tests = [t.held(tools) for t in some]
    near = sorted(tests, key=lambda t: cost(circuit, t))
    values, moved = _values(circuit, near, [*own, *left])
    apart = _apart_from(near, values[: len(own)], values[len(own) :])
    found: list[Offer] = []
    open_ = np.ones(len(left), bool)
    while open_.any() and near and len(found) < MOST_TESTS:
        gain = (apart & open_).sum(axis=1)
        k = int(gain.argmax())  # the cheapest of those that exclude most
        if not gain[k]:
            break
        mine, others = values[: len(own), k], values[len(own) :, k][apart[k] & open_]
        found.append(_offer(circuit, near[k], mine, others, moved[k]))
        open_ &= ~apart[k]
    return tuple(found), [c for c, still in zip(left, open_, strict=True) if still]


def separating(
    circuit: Circuit, tests: Sequence[Candidate], own: Cases, other: Cases, tools: Own = STANDARD
) -> Offer | None:
    """The first of these tests (cheapest first) on which no case of one side reads like one of the other."""
    for start in range(0, len(tests), MOST_TRIED):
        some = [t.held(tools) for t in tests[start : start + MOST_TRIED]]
        values, moved = _values(circuit, some, [*own, *other])
        whole = _apart_from(some, values[: len(own)], values[len(own) :]).all(axis=1)
        if whole.any():
            k = int(whole.argmax())
            return _offer(circuit, some[k], values[: len(own), k], values[len(own) :, k], moved[k])
    return None


def _values(circuit: Circuit, tests: Sequence[Candidate], rows: Cases) -> tuple[Array, list[tuple[str, ...]]]:
    """What each test reads on each case, [case, test], and what it switches."""
    out: Array = np.zeros((len(rows), len(tests)))
    moved: list[tuple[str, ...]] = [()] * len(tests)
    for c in dict.fromkeys(t.conditions for t in tests):
        index = [k for k, t in enumerate(tests) if t.conditions == c]
        got = solving.solved(circuit, rows, c, keep=False)
        some, switched = got.measure([(tests[k].spot, tests[k].reads, tests[k].phase) for k in index])
        for n, k in enumerate(index):
            out[:, k] = read_off(tests[k], some[:, n])
        for k, m in zip(index, switched, strict=True):
            moved[k] = m
    return out, moved


def _apart_from(tests: Sequence[Candidate], own: Array, other: Array) -> NDArray[np.bool_]:
    """[test, case]: whether the case reads unlike everything that is claimed."""
    out = np.zeros((len(tests), len(other)), bool)
    for k, t in enumerate(tests):
        out[k] = _apart(t, own[:, k], other[:, k])
    return out


def _offer(circuit: Circuit, t: Candidate, own: Array, other: Array, moved: tuple[str, ...]) -> Offer:
    return Offer(t, reading_line(circuit, t), told(t, own), told(t, other), cost(circuit, t), moved)


def asked(circuit: Circuit, part: str) -> Offer:
    """To try whether a part does its work: the complaint itself as a line."""
    must = function_of(circuit, part)
    cycle = drive_cycle(circuit)
    named = must.on if must is not None else ()
    phase = next((i for i, p in enumerate(cycle) if names_phase(circuit, p, named)), None)
    if phase is None:
        phase = next((i for i, p in enumerate(cycle) if p.base in ("ignition-on", "running")), 0)
    said = Observation(0, "", "works", phase, part=must.name if must is not None else part)
    spot, here = Spot(part, "volts", Term(part, "")), start_place(circuit)
    t = Candidate(spot, "eye", phase, Conditions(), here, 0.3, "look", "ask", said, offers.DOES)
    return Offer(t, reading_line(circuit, t), "does not work", "works", cost(circuit, t))


# ---- what is told, not read -------------------------------------------------------------------------
def literal(circuit: Circuit, d: Demand, part: str) -> Offer | None:
    """The line to write for a demand that is met by being told."""
    phases = [i for i, p in enumerate(drive_cycle(circuit)) if p.base in ("ignition-on", "running")] or [0]
    here = next((p.place for p in circuit.parts if key(p.name) == key(part)), None) or start_place(circuit)
    if d.what == "fitted":
        said = Observation(0, "", "looks", None, part=part, instrument="eye")
        t = Candidate(Spot(part, "volts", Term(part, "")), "eye", phases[0], Conditions(), here, 1.0, "look",
                      "look", said, RIGHT)  # fmt: skip
        return Offer(t, reading_line(circuit, t), "right", "wrong", cost(circuit, t))
    if d.at is None:
        return None
    got, at = access(circuit, d.at), d.at
    if d.function is None and (got is None or never(circuit, d.at)):
        got = beside(circuit, d.at)  # the metal may be named apart there, the run of wire is one
        at = got.term if got is not None else d.at
    if got is None:
        return None
    t = Candidate(
        Spot(str(at), "volts", at), "meter", phases[0], Conditions(), got.place, got.minutes, got.how
    )
    if d.what == "reference":
        plug = _sensors(circuit, d.at)
        t = replace(t, conditions=Conditions(unplugged=plug))
        volts = next((x.volts for x in circuit.modules if isinstance(x, Reference)
                      and key(x.module) == key(d.at.part) and key(x.pin) == key(d.at.name)), 5.0)  # fmt: skip
        good = f"still low: {part} itself, or its wire"
        return Offer(
            t, reading_line(circuit, t), good, f"{volts:g} V: a sensor pulls it down", cost(circuit, t)
        )
    if d.function is not None:
        phase = drive_cycle(circuit)[phases[0]].name
        line = f"{name_text(d.function)} in {free_text(phase)} works {{value}}"
        t = replace(t, instrument="eye", place=start_place(circuit), minutes=1.0)
        return Offer(t, line, "0 of 2", "1 of 2, 2 of 2", cost(circuit, t))
    return Offer(
        t, reading_line(circuit, t), "twice the same, a key cycle between", "it comes back", cost(circuit, t)
    )


def _sensors(circuit: Circuit, at: Term) -> tuple[str, ...]:
    """Sensors fed by a reference: parts joined to its metal over wires and plugs."""
    from amptrail.faults.metal import carried, touching

    n = wiring(circuit).node(at)
    if n is None:
        return ()
    met = [p for m in carried(circuit, n) for p in touching(circuit).get(m, ())]
    kinds = ("sensor", "pot", "resistor", "load")
    return tuple(dict.fromkeys(p.name for p in met if p.kind in kinds))
