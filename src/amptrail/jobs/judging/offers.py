"""What may be tried now: readings at every point, functions asked about, lamps seen and relays heard.

A pin under a fitted relay is offered only with that relay out; what must not be probed is never offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from amptrail.circuit.model import Circuit, Must, Part, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.circuit.supply import nominal_v
from amptrail.circuit.wiring import wiring
from amptrail.faults.metal import carried, touching
from amptrail.jobs.evidence.words import lamp_v
from amptrail.jobs.judging.bypasses import LAMP_UP_TO
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.solved.access import Access, access, place_of_part, start_place, touchable
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import meter_only, never
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.jobs.solved.spots import Spot, battery_minus

LOADS = ("motor", "lamp", "solenoid", "heater", "ptc", "load", "starter", "led")
SEEN = ("lamp", "led")
NONE = Conditions()
ASK_MIN = 0.3  # to try a function, see a lamp or hear a relay (common practice)
DOES = (("works", "works"), ("does not work", "does not"))
LIT = (("bright", "bright"), ("dim", "dim"), ("dark", "dark"))
HEARD = (("clicks", "clicks"), ("silent", "silent"))


def _points(circuit: Circuit) -> list[tuple[Access, Conditions]]:
    ground = battery_minus(circuit)
    out = []
    for a in touchable(circuit):
        if never(circuit, a.term) or a.how == "pierce" or str(a.term) == str(ground):
            continue
        out.append((a, Conditions(out=(a.relay_out,)) if a.relay_out else Conditions()))
    return out


def _drops(circuit: Circuit) -> list[tuple[Spot, Access]]:
    """Differential readings: across a load."""
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


def in_hand(circuit: Circuit, have: Sequence[str], own: Own = STANDARD) -> tuple[str, ...]:
    """The instruments that bear the volts of the vehicle: a 12 V lamp burns out on 24 V."""
    bears = nominal_v(circuit) <= lamp_v(own.name("lamp")) * LAMP_UP_TO
    return tuple(i for i in have if i != "lamp" or bears)


def measured(
    circuit: Circuit, reachable: Sequence[int], have: Sequence[str], barred: Sequence[str]
) -> list[Candidate]:
    """Every reading worth considering in the phases that can be reached, with the instruments at hand."""
    no = {key(b) for b in barred}
    sleeps = [x.base == "asleep" for x in drive_cycle(circuit)]
    volts = [i for i in ("meter", "lamp", "loaded") if i in have]
    out: list[Candidate] = []
    for a, c in _points(circuit):
        if key(str(a.term)) in no:
            continue
        spot = Spot(str(a.term), "volts", a.term)
        tools = [i for i in volts if i == "meter"] if meter_only(circuit, a.term) else volts
        out += [
            Candidate(spot, i, phase, c, a.place, a.minutes, a.how)
            for phase in reachable
            for i in tools
            if i == "meter" or not sleeps[phase]  # a load on a sleeping vehicle tells what it tells awake
        ]
    none = Conditions()
    if "meter" in have:
        for s, a in _drops(circuit):
            if key(s.name) not in no:
                out += [Candidate(s, "meter", p, none, a.place, a.minutes * 1.5, a.how) for p in reachable]
        out += _fuse_drops(circuit, reachable, no)
    if "clamp" in have:
        for s, place, minutes in _currents(circuit):
            if key(s.name) not in no:
                out += [Candidate(s, "clamp", p, none, place, minutes, "clamp") for p in reachable]
    return out


def _fuse_drops(circuit: Circuit, reachable: Sequence[int], no: set[str]) -> Iterator[Candidate]:
    """Millivolts across fuses while the vehicle sleeps: who draws, without waking anything."""
    cycle = drive_cycle(circuit)
    for p in circuit.parts:
        got = access(circuit, Term(p.name, "in")) if p.kind == "fuse" and key(p.name) not in no else None
        if got:
            spot = Spot(p.name, "volts", Term(p.name, "in"), Term(p.name, "out"))
            for phase in reachable:
                if cycle[phase].base == "asleep":
                    yield Candidate(
                        spot, "fuse-drop", phase, Conditions(), got.place, got.minutes, "fuse-top"
                    )


def sensed(circuit: Circuit, reachable: Sequence[int]) -> list[Candidate]:
    """Without any instrument: does it work, is it lit, does it click?"""
    out: list[Candidate] = []
    cycle = drive_cycle(circuit)
    for m in circuit.musts:
        if m.a is not None and _shows(circuit, m):
            for phase in reachable:
                if _says(circuit, m, phase):
                    out.append(asked(circuit, m, phase))
    for p in circuit.parts:
        if p.kind in SEEN:
            out += [_by_eye(circuit, p, phase) for phase in reachable]
        elif p.kind == "relay":
            # heard as a phase begins: who stands beside a sleeping vehicle hears nothing
            out += [_by_ear(circuit, p, n) for n in reachable if cycle[n].base != "asleep"]
    return out


def _shows(circuit: Circuit, m: Must) -> bool:
    """Whether anybody can tell without an instrument that the function works: something that is lit, turns or
    warms hangs on one of its ends. A charging voltage or a 5 V line shows nothing; it is measured."""
    w, by_name = wiring(circuit), {key(p.name): p for p in circuit.parts}
    ends = [t for t in (m.a, m.b) if t is not None]
    own = [by_name[key(t.part)] for t in ends if key(t.part) in by_name]
    metals = [n for t in ends if (n := w.node(t)) is not None]
    hung = [x for n in metals for there in carried(circuit, n) for x in touching(circuit).get(there, ())]
    return any(x.kind in LOADS for x in (*own, *hung))


def _says(circuit: Circuit, m: Must, phase: int) -> bool:
    here = drive_cycle(circuit)[phase]
    return names_phase(circuit, here, m.on) or (m.max_off_v is not None and names_phase(circuit, here, m.off))


def asked(
    circuit: Circuit, m: Must, phase: int, conditions: Conditions = NONE, action: str = "ask"
) -> Candidate:
    """Does the function work? Told on the phone, or tried."""
    said = Observation(0, "", "works", phase, part=m.name, conditions=conditions)
    spot = Spot(m.name, "volts", m.a or Term("", m.name), m.b)
    return Candidate(
        spot, "eye", phase, conditions, start_place(circuit), ASK_MIN, "look", action, said, DOES
    )


def _by_eye(circuit: Circuit, part: Part, phase: int) -> Candidate:
    said = Observation(0, "", "lit", phase, part=part.name, instrument="eye")
    spot = Spot(part.name, "volts", Term(part.name, "in"), Term(part.name, "out"))
    return Candidate(
        spot, "eye", phase, Conditions(), start_place(circuit), ASK_MIN, "look", "look", said, LIT
    )


def _by_ear(circuit: Circuit, part: Part, phase: int) -> Candidate:
    said = Observation(0, "", "clicks", phase, part=part.name)
    spot = Spot(part.name, "volts", Term(part.name, "86"), Term(part.name, "85"))
    return Candidate(
        spot, "hand", phase, Conditions(), place_of_part(circuit, part), ASK_MIN, "feel", "look", said, HEARD
    )
