"""What practice needs beside the vehicle: what a test costs, how the plan does the job, what is right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.circuit.model import Circuit, Fault, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.base.context import Json
from amptrail.jobs.judging.desk import INTO_PHASE_MIN, NextOptions, own_minutes
from amptrail.jobs.judging.nexttest import next_answer
from amptrail.jobs.judging.offers import ASK_MIN
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.judging.trials import LOOK_MIN, PULL_MIN
from amptrail.jobs.judging.visiting import SENSES, Standing, standing
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.jobs.solved.access import HOW_MINUTES, access, place_minutes, start_place, travel_minutes
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation, observations
from amptrail.jobs.solved.spots import Spot, place_of
from amptrail.sheet import parse_fault

MOST_TESTS = 25
CLAMP_MIN = 1.0
CHANGED = ("unplugged", "pulled", "out", "on", "off", "replaced")


@dataclass(frozen=True, slots=True)
class Played:
    """How a job went by the plan: the lines with their answers, minutes each, and what it ended at."""

    lines: tuple[str, ...]
    minutes: tuple[float, ...]
    said: str


def _reached(circuit: Circuit, o: Observation) -> tuple[str, float, str]:
    """(place, minutes to have the leads there, how) of an observation."""
    term = o.spot.a if o.spot is not None else Term(o.part or "", "")
    place = place_of(circuit, Term(term.part, "")) or start_place(circuit)
    if o.kind in SENSES:
        kind = next((p.kind for p in circuit.parts if key(p.name) == key(term.part)), "")
        return place, LOOK_MIN.get(kind, 1.0) if o.kind == "looks" else ASK_MIN, "look"
    if o.instrument == "clamp":
        return place, CLAMP_MIN, "clamp"
    got = access(circuit, term)
    return (place, HOW_MINUTES["back-probe"], "back-probe") if got is None else (place, got.minutes, got.how)


def price(circuit: Circuit, o: Observation, here: Standing, before: Conditions) -> float:
    """Minutes of one reading from where the person stands: the way, the covers, the phase, what was changed
    for it, and the reading itself, by the same figures as the plan (jobs.desk, jobs.access)."""
    place, minutes, how = _reached(circuit, o)
    cycle = drive_cycle(circuit)
    phase = o.phase if o.phase is not None else 0
    spot = o.spot or Spot(o.part or "", "volts", Term(o.part or "", ""))
    said = o if o.kind in SENSES else None
    test = Candidate(spot, o.instrument, phase, o.conditions, place, minutes, how, said=said)
    total = sum(own_minutes(circuit, test, NextOptions()))
    total += travel_minutes(circuit, here.place or start_place(circuit), place)
    if said is None and key(place) not in {key(x) for x in here.opened}:
        total += place_minutes(circuit, place)
    if o.phase is not None and here.phase is not None and key(cycle[phase].name) != key(here.phase):
        total += INTO_PHASE_MIN[cycle[phase].base]
    for name in CHANGED:
        fresh = set(getattr(o.conditions, name)) - set(getattr(before, name))
        total += len(fresh) * (HOW_MINUTES["open-plug"] if name == "unplugged" else PULL_MIN)
    return total


def heard(circuit: Circuit, readings: str) -> Observation:
    """The last observation of a readings text."""
    return observations(circuit, readings).used[-1]


def best(circuit: Circuit, readings: str) -> Json | None:
    """The test that the plan would do now; None when it says stop."""
    told = next_answer(judge(circuit, readings), _options(circuit, readings))
    return None if told["stop"]["is"] or not told["visits"] else dict(told["visits"][0]["tests"][0])


def _options(circuit: Circuit, readings: str) -> NextOptions:
    here = standing(circuit, observations(circuit, readings).used)
    return NextOptions(place=here.place, start_phase=here.phase, opened=here.opened)


def played(circuit: Circuit, hidden: tuple[Fault, ...], complaint: str) -> Played:
    """The job by the plan, from the complaint until it says stop."""
    vehicle, readings = Vehicle(circuit, hidden), complaint
    lines: list[str] = []
    minutes: list[float] = []
    while len(lines) < MOST_TESTS:
        test = best(circuit, readings)
        if test is None:
            break
        here = standing(circuit, observations(circuit, readings).used)
        filled = vehicle.answer(test, readings)
        readings += filled + "\n"
        lines.append(filled)
        minutes.append(price(circuit, heard(circuit, readings), here, Conditions()))
    rows = suspects_answer(judge(circuit, readings), {}, SuspectOptions())["suspects"]
    return Played(tuple(lines), tuple(minutes), rows[0]["text"] if rows else "")


def _bare(term: Term) -> tuple[str, str]:
    return key(term.part or term.name), key(
        term.name.removesuffix(".a").removesuffix(".b")
    ) if term.part else ""


def same_place(a: Fault, b: Fault) -> bool:
    """One part, and one terminal of it where both name one: the same thing would be renewed."""
    (part_a, at_a), (part_b, at_b) = _bare(a.at), _bare(b.at)
    return part_a == part_b and (at_a == at_b or not at_a or not at_b)


def _holds(said: Sequence[Fault], hidden: Sequence[Fault]) -> bool:
    return all(any(same_place(s, h) for s in said) for h in hidden)


def verdict(
    circuit: Circuit, said: Sequence[Fault], hidden: Sequence[Fault], readings: str
) -> tuple[bool, str]:
    """Whether what was said is right, and how: the hidden fault itself, or one that no reading anywhere
    tells from it (they are one line among the suspects)."""
    if _holds(said, hidden):
        return True, "that is it"
    rows = suspects_answer(judge(circuit, readings), {}, SuspectOptions())["suspects"]
    for r in rows:
        texts = [r["text"], *r["equivalent"]]
        every = [tuple(parse_fault(circuit, t)) for t in texts if t != "nothing is broken"]
        if any(_holds(f, hidden) for f in every) and any(_holds(f, said) for f in every):
            return True, "no reading tells it from the hidden one: look before you renew"
    return False, "that is not it"
