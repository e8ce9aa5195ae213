"""The visit card: where the person stands by what was read last, what to test next in words, what still
fits, and after the repair what was proven. One answer, so that a page asks once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

from amptrail.circuit.model import TOUCHES, Circuit, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.instruments import by_name, cautions
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.words import asked_of
from amptrail.jobs.judging.asking import asking, phase_words
from amptrail.jobs.judging.nexttest import NextOptions, next_answer
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.solved.access import start_place
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation, failing, observations
from amptrail.jobs.solved.spots import all_spots, place_of
from amptrail.sheet.words import free_text, name_text, term_text

SHOWN = ("meter", "lamp", "loaded", "clamp")
SENSES = ("works", "clicks", "lit", "looks", "felt", "answers", "moved")


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the person is, in which phase the vehicle is, and which places lie open."""

    place: str | None = None
    phase: str | None = None
    opened: tuple[str, ...] = ()


def standing(circuit: Circuit, heard: Sequence[Observation]) -> Standing:
    """From the readings the person took: the place of the last one, and every place where a lead was put
    on. What others said on the phone moves nobody."""
    mine = [o for o in heard if o.whose == "mine"]
    if not mine:
        return Standing()
    places = [_place(circuit, o) for o in mine]
    opened = [p for p, o in zip(places, mine, strict=True) if o.kind not in SENSES]
    phases = [o.phase for o in mine if o.phase is not None]
    name = drive_cycle(circuit)[phases[-1]].name if phases else None
    return Standing(places[-1], name, tuple(dict.fromkeys(opened)))


def _place(circuit: Circuit, o: Observation) -> str:
    part = o.spot.a.part if o.spot is not None else o.part or ""
    return place_of(circuit, Term(part, "")) or start_place(circuit)


def _complaint(heard: Sequence[Observation]) -> Observation | None:
    """What to try again after a repair: the first function that still fails by what was told; else the first
    figure told."""
    plain = [o for o in heard if o.conditions.as_told == Conditions() and o.phase is not None]
    told = [*failing(plain), *(o for o in plain if o.kind in ("works", "number", "range", "lit"))]
    return told[0] if told else None


def _again(circuit: Circuit, o: Observation | None) -> str | None:
    """The words for trying it again."""
    if o is None:
        return None
    phase = drive_cycle(circuit)[o.phase or 0].name
    name = o.part or (str(o.spot.a) if o.spot is not None else "")
    what = asked_of(circuit, name) if o.kind == "works" else f"what {name} reads"
    return f"try {what} again in {phase} ({phase_words(circuit, phase)})"


def _at(fault: Json) -> Term:
    return Term(fault["part"], fault["terminal"] or "")


def _repaired(j: Judgement, row: Json, told: Observation | None) -> str | None:
    """The lines that say: repaired, and still the same. A new part does not cure metal that touches metal
    (`acting.left`): there the point is mended. Of two faults, what was repaired before is not again."""
    known = {key(p.name) for p in j.circuit.parts}
    here = [(_at(f), f["mode"] in TOUCHES) for f in row["faults"] if key(f["part"]) in known]
    before = {key(x) for x in j.renewed}
    done = dict.fromkeys(
        f"{term_text(at)} repaired" if touches else f"{name_text(at.part)} replaced"
        for at, touches in here
        if key(str(at) if touches else at.part) not in before
    )
    if told is None or not done:
        return None
    lines = list(done)
    return "\n".join(
        [*lines[:-1], f"{lines[-1]}, no change"] if told.kind == "works" else [*lines, told.text]
    )


def visiting(sheet_text: str, readings_text: str, options: NextOptions) -> Json:
    """Plan, suspects and words of a job. A place that is not told is taken from the readings."""
    sheet = load(sheet_text)
    circuit = sheet.circuit
    j = judge(circuit, readings_text, options.doubles, history=options.history, own=options.own)
    heard = observations(circuit, readings_text).used
    here = standing(circuit, heard)
    options = replace(
        options, place=options.place or here.place, start_phase=options.start_phase or here.phase,
        opened=options.opened or here.opened,
    )  # fmt: skip
    plan = next_answer(j, options)
    weighed = suspects_answer(j, {}, SuspectOptions())
    for v in plan["visits"]:
        v["state"] = phase_words(circuit, v["phase"])
        v["about"] = next((p.text or "" for p in circuit.places if key(p.name) == key(v["place"] or "")), "")
        for t in v["tests"]:
            t["ask"] = asdict(asking(circuit, t))
            t["state"] = phase_words(circuit, t["phase"])
    if tells := plan["tells_drawings"]:
        tells["ask"] = asdict(asking(circuit, tells))
    told = _complaint(heard)
    eye = by_name("eye")
    first = weighed["suspects"][0] if weighed["suspects"] else None
    body = {
        "plan": plan,
        "weighed": weighed,
        "here": asdict(here),
        "places": [p.name for p in circuit.places],
        "phases": [{"name": p.name, "written": free_text(p.name), "state": phase_words(circuit, p.name)}
                   for p in drive_cycle(circuit)],
        "points": [s.name for s in all_spots(circuit)],
        "repair_cautions": [] if first is None else list(dict.fromkeys(
            c.text for f in first["faults"] for c in cautions(circuit, _at(f), eye, None, "look"))),
        "again": _again(circuit, told),
        "still_the_same": None if first is None else _repaired(j, first, told),
    }  # fmt: skip
    return answer("visit", sheet, body, problems=j.problems)
