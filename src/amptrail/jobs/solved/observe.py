"""Readings as the belief hears them: where, in which phase and condition, with what, and how sure.

An Observation is still free of numbers computed from the circuit; `predict` puts predictions beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from amptrail.circuit.model import Circuit, Term, WorkedOn, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.wiring import wiring
from amptrail.errors import InputError, Problem, one
from amptrail.instruments import by_name
from amptrail.jobs.solved import forbidden
from amptrail.jobs.solved.conditions import PLAIN, Conditions, Moment
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.jobs.solved.session import session
from amptrail.jobs.solved.spots import Spot, is_metal
from amptrail.sheet import Reading, parse_readings
from amptrail.sheet.readers import named
from amptrail.sheet.readings import Conditions as Told

Kind = Literal[
    "number", "range", "lit", "works", "clicks", "answers", "looks", "exchanged", "same", "felt", "code",
    "alternates", "moved",
]  # fmt: skip
OVER_RANGE_OHM = 20e6
THERE = "there"  # the word of a part that was pulled out of its slot
# parts whose volts are those across them when no end is named
ACROSS = ("battery", "lamp", "led", "motor", "solenoid", "heater", "ptc", "load")
# counted by a person, of a timer as exact as timers are: so many times as long or as short is as good (common
# practice)
COUNTED = 1.5
RIPPLE, RIPPLE_SHARE = 1.0, 0.25  # V or A, and share of the reading, that cranking or idling makes (the same)
ABOUT = 0.1  # of a current that is said not to have changed (common practice)
BEEPS_OHM = 20.0  # common practice: a beeper sounds below 20-50 ohm
NOTHING_AT_ALL = 0.0
DRAWING = ("lamp", "loaded", "led")  # instruments that draw current


@dataclass(frozen=True, slots=True)
class Observation:
    """One reading. `phase` indexes the drive cycle (None: off or no phase).

    `value` or `low`..`high` in the unit of the instrument; `word` for what was said; `battery_v` volts at the
    battery at that moment; `good_of` (7, 10) for 7 of 10 tries; `run` names readings that share one lead.
    `comes_and_goes`: told as intermittent. `unsigned`: a current told without a sign is a size (nobody says
    which way round the clamp was). `made_new`: parts exchanged and metals mended on this line; `tells`: what
    that left as it was.
    """

    line: int
    text: str
    kind: Kind
    phase: int | None
    spot: Spot | None = None
    part: str | None = None
    instrument: str = "meter"
    value: float = 0.0
    low: float = 0.0
    high: float = 0.0
    word: str = ""
    battery_v: float | None = None
    conditions: Conditions = PLAIN
    unsure: bool = False
    jumping: bool = False  # read off a display that jumps
    nth: int = 0  # of what one line tells: each may have been seen as it fails or as it works
    showing: Literal["unknown", "works", "fails"] = "unknown"
    whose: str = "mine"
    good_of: tuple[int, int] | None = None
    run: str = ""
    unsigned: bool = False
    comes_and_goes: bool = False
    own: bool = False  # taken with an instrument its owner measured: `instrument` says what it is
    by: str = ""  # who read it, where several people with their own instruments did
    made_new: tuple[str, ...] = ()
    tells: tuple[Observation, ...] = ()

    @property
    def tool(self) -> str:
        """The kind of instrument, whoever's it is."""
        return self.instrument.split()[0] if self.own else self.instrument


@dataclass(frozen=True)
class Heard:
    """Observations used, one a line, lines ignored with the reason, the warnings of the file, what was worked
    on, and the parts that are new by the last line. `there`: what the lines say besides, that a part which
    was taken out for a reading was not missing."""

    used: tuple[Observation, ...]
    ignored: tuple[tuple[int, str], ...]
    problems: tuple[Problem, ...]
    worked: tuple[WorkedOn, ...] = ()
    renewed: tuple[str, ...] = ()
    there: tuple[Observation, ...] = ()


def _conditions(circuit: Circuit, told: Told) -> Conditions:
    kinds = {key(p.name): p.kind for p in circuit.parts}
    relays = tuple(x for x in told.pulled if kinds.get(key(x)) == "relay")
    fuses = tuple(x for x in told.pulled if x not in relays)
    return Conditions(
        told.unplugged, fuses, relays, told.on, told.off, told.feeds[-1] if told.feeds else None,
        told.replaced,
    )  # fmt: skip


def _instrument(r: Reading) -> str:
    if r.instrument == "lamp" and r.lamp_w:
        return f"lamp {r.lamp_w:g} W"
    return {"scope": "meter"}.get(r.instrument or "meter", r.instrument or "meter")


def _spot(circuit: Circuit, r: Reading) -> Spot | None:
    """Where the leads were: a branch for a clamp, two points otherwise; the two ends of a part that is named
    alone, where it is plain that they are meant."""
    name = r.point or str(r.a if r.a.name else r.a.part)
    if r.instrument == "clamp":
        lead = replace(r.a, name=r.a.name.removesuffix(".a").removesuffix(".b"))  # one current, either side
        try:
            session(circuit).network.branch(lead)
        except InputError as e:
            raise InputError(tuple(replace(p, line=r.line, column=1) for p in e.problems)) from e
        return Spot(name, "amps", lead)
    what: Literal["volts", "ohms"] = "ohms" if r.instrument == "ohmmeter" else "volts"
    other = r.other_lead if r.other_lead is not None and what == "volts" else r.b
    if is_metal(circuit, r.a):
        return Spot(name, what, r.a, other)
    ends = _ends_meant(circuit, r) if other is None else None
    return Spot(name, what, *ends) if ends else None


def _ends_meant(circuit: Circuit, r: Reading) -> tuple[Term, Term] | None:
    """The ends of the part named: of any for its ohms or millivolts, of a load or battery for its volts."""
    part = next((p for p in circuit.parts if key(p.name) == key(r.a.part) and not r.a.name), None)
    if part is None or not (r.instrument in ("ohmmeter", "fuse-drop") or part.kind in ACROSS):
        return None
    first, second = ("+", "-") if part.kind == "battery" else ("in", "out")
    ends = Term(part.name, first), Term(part.name, second)
    return ends if all(is_metal(circuit, t) for t in ends) else None


def _numbers(r: Reading) -> tuple[Kind, float, float, float, str] | None:
    """(kind, value, low, high, word) of a measured reading; None when it holds no figure."""
    word = r.word or ""
    if word == "same as battery":
        return "same", 1.0, 0.0, 0.0, word
    if word == "over range":
        return "number", OVER_RANGE_OHM, 0.0, 0.0, word
    if word == "alternates":
        return "alternates", 0.0, 0.0, 0.0, word
    if word == "beeps":
        return "range", BEEPS_OHM / 2, 0.05, BEEPS_OHM, word
    if word == "silent":
        return "range", 1e4, BEEPS_OHM, OVER_RANGE_OHM, word
    if word in ("bright", "dim", "dark", "lit", "lit then dark") or (
        word == "nothing" and r.instrument in ("lamp", "led")
    ):
        return (
            "lit",
            0.0,
            0.0,
            0.0,
            {"nothing": "dark", "lit then dark": "lit"}.get(word, word),
        )
    if r.instrument == "hand":
        return "felt", 0.0, 0.0, 0.0, {"nothing": "cold"}.get(word, word)
    if word == "nothing":
        return "number", NOTHING_AT_ALL, 0.0, 0.0, word
    if r.low is not None and r.high is not None:
        return "range", (r.low + r.high) / 2, r.low, r.high, word
    if r.value is not None:
        return "number", r.value, 0.0, 0.0, word
    return None


def _said(r: Reading) -> tuple[Kind, str] | None:
    match r.kind:
        case "works":
            return "works", "works" if r.word != "no" else "does not"
        case "answers":
            return "answers", "answers" if r.word != "no" else "silent"
        case "sounds":
            return "clicks", r.word or "clicks"
        case "is":
            if r.word in ("bright", "dim", "dark"):
                return "lit", r.word
            return "works", "works" if r.word in ("on", "running", "working") else "does not"
        case "looks":
            return "looks", r.word or ""
        case "replaced" | "repaired":
            return "exchanged", r.word or ""
        case "code":
            return "code", (r.word or "").upper()
    return None


HAS_AN_ARMATURE = ("relay", "starter")
HEARD_LOADS = ("motor", "solenoid", "load")
NO_SOUND = ("silent", "nothing", "dead", "quiet")


def _of_a_load(circuit: Circuit, r: Reading) -> Reading:
    """What is heard of a part as what it does: a relay clicks when it switches, a load is heard as long as it
    works. Of a module nothing is heard."""
    kind = next((p.kind for p in circuit.parts if key(p.name) == key(r.a.part)), None)
    if kind in HAS_AN_ARMATURE:
        return r
    if kind in HEARD_LOADS:
        return replace(r, kind="works", word="no" if r.word in NO_SOUND else "yes")
    return replace(r, kind="unheard")


def _observation(circuit: Circuit, r: Reading, phases: dict[str, int]) -> Observation | str:
    phase = phases.get(key(r.phase)) if r.phase else None
    showing: Literal["unknown", "works", "fails"] = (
        "unknown" if r.while_failing is None else "fails" if r.while_failing else "works"
    )
    base = Observation(
        r.line, r.text, "number", phase, battery_v=_battery(circuit, r, phase), whose=r.whose,
        showing=showing,
        conditions=_conditions(circuit, r.conditions), unsure=bool({"unsure", "old"} & set(r.quality)),
        comes_and_goes="intermittent" in r.quality, by=r.by,
    )  # fmt: skip
    if r.word == "blows":  # a new one, put in, is blown: seen of the vehicle with a sound fuse in it
        return replace(base, kind="looks", phase=None, part=r.a.part, word="blown")
    if r.kind == "reading":
        found, spot = _numbers(r), _spot(circuit, r)
        if found is None:
            return "it holds no figure this circuit can be compared with"
        kind, value, low, high, word = found
        part = r.a.part if r.instrument in ("eye", "hand") else None
        if spot is None and part is None:
            return f"it does not say where on {_named(r)} the lead was, such as {_an_end(circuit, r.a.part)}"
        return replace(base, kind=kind, spot=spot, part=part, instrument=_instrument(r), value=value,
                       low=low, high=high, word=word, run=_run(r), unsigned=_unsigned(r))  # fmt: skip
    if r.kind == "moved":
        return _moved(base, r)
    if r.kind == "sounds":
        r = _of_a_load(circuit, r)
    said = _said(r)
    if said is None:
        return "nothing in this circuit can be compared with it"
    kind_said, word = said
    if r.kind == "repaired" and r.a.name:
        return replace(base, kind=kind_said, part=str(r.a), word=word)
    good = (r.ok, r.tries) if r.ok is not None and r.tries is not None else None
    return replace(base, kind=kind_said, part=_named(r), word=word, good_of=good)


def _an_end(circuit: Circuit, name: str) -> str:
    """A point of the part that can be read, for a hint."""
    return next((str(t) for t in wiring(circuit).names if key(t.part) == key(name)), f"{name}.in")


def _own(items: Sequence[Reading], brought: Own) -> list[tuple[int, str, str, str]]:
    """(line, whose, kind of instrument, what it is): from its line on, that kind is that one; what was
    brought is from before the first. InputError names the line when it is no instrument."""
    found = [(0, named(brought.by), kind, brought.name(kind)) for kind, _ in brought.told]
    for r in items:
        if r.kind == "my":
            try:
                if not (r.word or "").strip():
                    raise one("instrument", f"what is special about your {r.instrument}?",
                              remedy=f'write it as my {r.instrument} "accuracy 1 %"')  # fmt: skip
                by_name(f"{r.instrument} {r.word}")
            except InputError as e:
                raise InputError(tuple(replace(p, line=r.line, column=1) for p in e.problems)) from e
            found.append((r.line, r.by, r.instrument or "", f"{r.instrument} {r.word}"))
    return found


def _as_read_with(o: Observation, r: Reading, mine: list[tuple[int, str, str, str]]) -> Observation:
    """The observation as the owner's own instrument saw it: its offset taken off, burden and error its own.
    What the shop or the customer read was read with theirs."""
    if o.kind not in ("number", "range", "lit") or o.whose != "mine" or r.lamp_w or r.instrument is None:
        return o
    own = [
        what for line, by, kind, what in mine
        if kind == r.instrument and line < o.line and (by in ("", r.by) or (line == 0 and not r.by))
    ]  # fmt: skip
    if not own:
        return o
    off = by_name(own[-1]).offset
    value = max(o.value - off, 0.0) if o.unsigned else o.value - off
    return replace(o, instrument=own[-1], own=True, value=value, low=o.low - off, high=o.high - off)


def _unsigned(r: Reading) -> bool:
    return r.instrument == "clamp" and re.search(r"clamp\s+[+-]", r.text, re.IGNORECASE) is None


def _named(r: Reading) -> str:
    return r.point or r.a.part or r.a.name


def _run(r: Reading) -> str:
    return str(r.b) if r.b is not None and r.instrument != "ohmmeter" else ""


def _battery(circuit: Circuit, r: Reading, phase: int | None) -> float | None:
    """The battery at that moment: said on the line itself, or standing and the phase is one at rest."""
    if r.battery_v is None or phase is None:
        return None
    tail = (
        f"battery {r.text.rsplit('battery', 1)[1].strip()}"
        if "battery" in r.text.split(" in ", 1)[-1]
        else ""
    )
    at_rest = drive_cycle(circuit)[phase].base not in ("cranking", "running")
    return r.battery_v if at_rest or (tail and "same as" not in r.text) else None


def observations(circuit: Circuit, text: str, own: Own = STANDARD) -> Heard:
    """Every line of a readings file as an observation, or the reason why it is not used. `own`: what the
    reader brought; what the lines say of it stands before that."""
    told = parse_readings(circuit, text)
    phases = {key(p.name): i for i, p in enumerate(drive_cycle(circuit))}
    mine = _own(told.items, own)
    used: list[Observation] = []
    ignored: list[tuple[int, str]] = []
    worked = tuple(WorkedOn(r.a.part, r.word) for r in told.items if r.kind == "worked")
    renewed: tuple[str, ...] = ()
    pulled, there = set[str](), list[Observation]()
    for r in told.items:
        if r.kind in ("worked", "my"):  # no observation: what is likely beforehand, and what it is read with
            continue
        got = _observation(circuit, r, phases)
        if isinstance(got, str):
            ignored.append((r.line, got))
        elif got.kind == "exchanged":
            new = _as_new(circuit, r)
            renewed = tuple(sorted({*renewed, *new}))
            if got.word:  # a part renewed without a word of what it did is no reading
                in_vain = _in_vain(replace(got, made_new=new), used, renewed)
                used += [*([] if in_vain.tells else _as_much(got, used, renewed)), in_vain]
        else:
            fresh = {r.a.part} if r.word == "blows" else set()
            standing = replace(got.conditions, renewed=tuple(sorted({*renewed, *fresh})))
            taken = (*standing.out, *standing.pulled)
            there += [_was_there(r, x, renewed) for x in taken if x not in pulled]
            pulled.update(taken)
            o = _as_read_with(replace(got, conditions=standing), r, mine)
            if (before := _seen_before(o, used)) is not None:
                ignored.append((r.line, f"line {before} says it already: the same look tells nothing more"))
            else:
                used += [x for when in _lit_for(circuit, o, r) for x in _while_moved(when, r)]
    problems = (*told.warnings, *_harmful(circuit, used))
    return Heard(tuple(used), tuple(ignored), problems, worked, renewed, tuple(there))


def _lit_for(circuit: Circuit, o: Observation, r: Reading) -> tuple[Observation, ...]:
    """A time told of a light is how it was shortly before, and how shortly after."""
    if r.seconds is None or o.kind != "lit" or o.phase is None:
        return (o,)
    phase = drive_cycle(circuit)[o.phase].name

    def at(after_s: float, word: str) -> Observation:
        return replace(o, word=word, conditions=replace(o.conditions, moment=Moment(phase, after_s)))

    if r.at_least:
        return (at(r.seconds, "lit"),)
    return at(r.seconds / COUNTED, "lit"), at(r.seconds * COUNTED, "dark")


def _moved(o: Observation, r: Reading) -> Observation:
    """Whether what was watched jumped when a part was moved."""
    return replace(o, kind="moved", part=r.moved, word="jumps" if r.jumps else "stays")


def _while_moved(o: Observation, r: Reading) -> tuple[Observation, ...]:
    """What was read while a part was moved: where it jumped, both ends of it, each of the fault as it shows
    or of the vehicle as it works."""
    if r.moved is None and _goes_up_and_down(o, r):
        return o, replace(o, kind="alternates", value=0.0, low=0.0, high=0.0)
    if r.moved is None or o.kind == "moved":
        return (o,)
    said = replace(_moved(o, r), spot=None, value=0.0, low=0.0, high=0.0, instrument="meter", nth=2)
    if o.kind != "range" or not r.jumps:
        return o, said
    one, other = (
        replace(o, kind="number", value=x, low=0.0, high=0.0, jumping=True, nth=n)
        for n, x in enumerate((o.low, o.high))
    )
    return one, other, said


def _goes_up_and_down(o: Observation, r: Reading) -> bool:
    """Whether a figure told as fluctuating does so by more than a battery under load."""
    wide = max(RIPPLE, RIPPLE_SHARE * max(abs(o.low), abs(o.high)))
    return o.kind == "range" and "fluctuates" in r.quality and o.high - o.low > wide


def _harmful(circuit: Circuit, used: Sequence[Observation]) -> Iterator[Problem]:
    """Readings that were taken where they may do harm: weighed as any other, and said."""
    for o in used:
        here = o.spot if o.spot is not None and o.spot.what != "amps" else None
        ends = [t for t in (here.a, here.b) if t is not None] if here is not None else []
        draws = o.tool in DRAWING  # what a sheet marks is mostly marked against these
        bad = [t for t in ends if (forbidden.never if draws else forbidden.untouched)(circuit, t)]
        soft = [t for t in ends if draws and forbidden.meter_only(circuit, t)]
        if bad:
            remedy = "leave it to the maker's text; read at the fuse or the next open rail"
            yield Problem("never-probe", f"{bad[0]} must not be probed", o.line, 1, "warning", remedy=remedy)
        elif soft:
            said = f"a {o.tool} on {soft[0]} may harm what hangs on it"
            yield Problem("meter-only", said, o.line, 1, "warning", remedy="read it with a meter")


def _as_new(circuit: Circuit, r: Reading) -> tuple[str, ...]:
    """What is as new from this line on: a part, and when it was mended the metals it ends on, by the names
    faults have there, which touch nothing any more; a point mended is its metal alone."""
    if r.kind != "repaired":
        return (r.a.part,)
    w = wiring(circuit)
    ends = {w.node(t) for t in w.terms if key(t.part) == key(r.a.part)} if not r.a.name else {w.node(r.a)}
    metals = tuple(str(w.names[n]) for n in sorted(n for n in ends if n is not None))
    return metals if r.a.name else (r.a.part, *metals)


def _seen_before(o: Observation, used: Sequence[Observation]) -> int | None:
    """The line of the same look by the same person at the same vehicle: what hides there hides again."""
    same = (x for x in used if x.kind == "looks" and replace(x, line=o.line, text=o.text) == o)
    return next((x.line for x in same), None) if o.kind == "looks" else None


def _was_there(r: Reading, part: str, renewed: tuple[str, ...]) -> Observation:
    """What was taken out for a reading was not missing."""
    standing = Conditions(renewed=renewed)
    return Observation(r.line, r.text, "looks", None, part=part, word=THERE, conditions=standing)


def failing(heard: Sequence[Observation]) -> list[Observation]:
    """Functions and parts whose last word without conditions is that they do not what they should, as told
    first."""
    last: dict[tuple[str, int | None], Observation] = {}
    for o in heard:
        if o.kind == "works" and o.conditions.as_told == Conditions():
            last[key(o.part or ""), o.phase] = o
    return [o for o in last.values() if _fails(o) and o.showing != "works"]


def _fails(o: Observation) -> bool:
    """Whether it does not do what it should, or not always."""
    return not o.word.startswith("works") or (o.good_of is not None and o.good_of[0] < o.good_of[1])


def _as_much(o: Observation, before: Sequence[Observation], renewed: tuple[str, ...]) -> list[Observation]:
    """No change where the complaint is a current and nothing was said to fail: about as much flows again."""
    first = next((x for x in before if x.kind != "exchanged"), None)
    if first is None or first.kind != "number" or first.tool != "clamp" or first.conditions != Conditions():
        return []
    ends = sorted((first.value * (1 - ABOUT), first.value * (1 + ABOUT)))
    return [
        replace(
            first, line=o.line, text=o.text, kind="range", low=ends[0], high=ends[1], whose=o.whose,
            battery_v=None, conditions=Conditions(renewed=renewed),
        )
    ]  # fmt: skip


def _in_vain(o: Observation, before: Sequence[Observation], renewed: tuple[str, ...]) -> Observation:
    """No change: what failed fails with the new part in."""
    now = Conditions(renewed=renewed)
    same = tuple(
        replace(x, line=o.line, text=o.text, conditions=now, whose=o.whose, battery_v=None)
        for x in failing(before)
    )
    return replace(o, conditions=now if same else Conditions(), tells=same)
