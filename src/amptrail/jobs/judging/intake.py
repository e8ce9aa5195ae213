"""`intake`: what to ask on the phone, the question that tells most about the suspects first.

Every question can be answered by who stands beside the vehicle without a tool: works, does not, don't know.
Each answer is a readings line; "don't know" is none. Questions are chosen one after the other, each by what
it adds to those above it. What was exchanged already and what was worked on last are asked in any case
(JOB.md section 1: 9 of 37 stories had earlier work as the cause, in 11 of 37 parts had been exchanged in
vain).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.errors import Problem, nearest, one
from amptrail.faults.metal import neighbours
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.evidence.beforehand import worked_factor
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.predict import MISPROBE, WHOSE
from amptrail.jobs.evidence.words import RUNS_SHARE, asked_of, function_of
from amptrail.jobs.judging import offers
from amptrail.jobs.judging.desk import told_already
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.panel import Candidate, Live, live, panel
from amptrail.jobs.judging.suspects import estimated, judge
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.access import start_place
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.session import reachable_phases
from amptrail.jobs.solved.spots import Spot
from amptrail.sheet.words import name_text

Array = NDArray[np.float64]
Who = Literal["customer", "shop", "mine"]
WORTH_BITS = 0.01  # a question that adds less is not asked
MOST_COMBINATIONS = 256  # of earlier answers followed; the unlikeliest are let go
MOST_CHOICES = 8
NOMINAL_V = 12.0
WORKS = ("motor", "solenoid", "heater", "starter", "load")
EXCHANGED = ("relay", "fuse", "lamp", "motor", "starter", "battery", "alternator", "switch", "sensor",
             "module", "solenoid", "heater")  # fmt: skip
WHEN = {
    "asleep": "parked and locked", "awake": "just unlocked, the ignition off",
    "ignition-on": "with the ignition on, the engine off", "cranking": "while it cranks",
    "running": "with the engine running", "after-run": "just after it is switched off",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class IntakeOptions:
    """Who answers (whose readings they are), how many questions, what earlier jobs taught, and the questions
    (as they are asked) to which nobody knew the answer: those below are then not ranked as if they had."""

    who: str = "customer"
    top: int = 10
    history: History = NONE
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Question:
    """A question with P(answer)[live, choice] and its bits: by itself, and beside those above it."""

    test: Candidate
    chance: Array
    bits: float
    adds: float


# ---- what can be asked ------------------------------------------------------------------------------
def _loads(circuit: Circuit, phases: Sequence[int]) -> Iterator[Candidate]:
    """Loads without a function of their own: does it run, in the phases in which a sound one does."""
    sound = solving.solved(circuit, [()], Conditions(), keep=False)
    for p in circuit.parts:
        if p.kind not in WORKS or function_of(circuit, p.name) is not None:
            continue
        for phase in phases:
            if abs(float(sound.across(p.name, phase)[0])) >= RUNS_SHARE * NOMINAL_V:
                said = Observation(0, "", "works", phase, part=p.name)
                spot, here = Spot(p.name, "volts", Term(p.name, "in")), start_place(circuit)
                yield Candidate(spot, "eye", phase, Conditions(), here, offers.ASK_MIN, "look", "ask", said,
                                offers.DOES)  # fmt: skip


def askable(circuit: Circuit) -> list[Candidate]:
    """Everything that can be seen, heard or tried without a tool."""
    phases = reachable_phases(circuit)
    return [*offers.sensed(circuit, phases), *_loads(circuit, phases)]


def words(circuit: Circuit, t: Candidate) -> str:
    """The question as it is asked."""
    phase = drive_cycle(circuit)[t.phase]
    alike = sum(p.base == phase.base for p in drive_cycle(circuit)) > 1
    when = f"in {phase.name}" if alike else WHEN[phase.base]
    said = t.said
    if said is None:
        raise AssertionError("a question is answered in words")
    if said.kind == "lit":
        return f"Is {said.part} bright, dim or dark {when}?"
    if said.kind == "clicks":
        return f"Does {said.part} click {when}?"
    must = function_of(circuit, said.part or "")
    name, does = asked_of(circuit, said.part or ""), "work"
    if must is not None and must.a is not None:
        does = "still run" if names_phase(circuit, phase, must.off) else "work"
    return f"Does {name} {does} {when}?"


# ---- which tells most -------------------------------------------------------------------------------
def _entropy(p: Array) -> float:
    p = p[p > 0]
    return float(-(p * np.log2(p)).sum())


def _groups(j: Judgement, alive: Live) -> NDArray[np.int64]:
    names = [" + ".join(c.group for c in j.to_repair(h)) for h in alive.index]
    number = {n: i for i, n in enumerate(dict.fromkeys(names))}
    return np.asarray([number[n] for n in names], np.int64)


def _tells(joint: Array, chance: Array, group: NDArray[np.int64]) -> float:
    """Mutual information (bit) of the repair group and the answers: `joint[h, combination]` of earlier
    answers with the belief in it, then this one."""
    both = (joint[:, :, None] * chance[:, None, :]).reshape(len(joint), -1)
    table = np.zeros((int(group.max()) + 1, both.shape[1]))
    np.add.at(table, group, both)
    return _entropy(table.sum(axis=1)) + _entropy(table.sum(axis=0)) - _entropy(table.ravel())


def _slip(chance: Array, who: str) -> Array:
    """What is said on the phone is not always so."""
    share = min(MISPROBE * WHOSE[who], 0.5)
    return np.asarray((1 - share) * chance + share / chance.shape[1], np.float64)


def ranked(j: Judgement, options: IntakeOptions) -> list[Question]:
    """The questions in the order to ask them, each adding most to those before."""
    alive = live(j)
    unknown = {key(x) for x in options.unknown}
    tests = [t for t in askable(j.circuit)
             if not told_already(j, t, anyone=True) and key(words(j.circuit, t)) not in unknown]  # fmt: skip
    p = panel(j, alive, tests)
    belief, group = alive.probability / alive.probability.sum(), _groups(j, alive)
    asked = [(t, _slip((p.said[k] * alive.weight[:, :, None]).sum(axis=1), options.who))
             for k, t in enumerate(p.tests)]  # fmt: skip
    joint, so_far, out = belief[:, None], 0.0, list[Question]()
    alone = {id(t): _tells(joint, c, group) for t, c in asked}
    left = [(t, c) for t, c in asked if alone[id(t)] >= WORTH_BITS]
    while left and len(out) < options.top:
        gains = [_tells(joint, c, group) for _, c in left]
        k = int(np.argmax(gains))
        if gains[k] - so_far < WORTH_BITS:
            break
        t, c = left.pop(k)
        out.append(Question(t, c, alone[id(t)], gains[k] - so_far))
        joint = (joint[:, :, None] * c[:, None, :]).reshape(len(joint), -1)
        if joint.shape[1] > MOST_COMBINATIONS:
            heaviest = np.argsort(-joint.sum(axis=0), kind="stable")[:MOST_COMBINATIONS]
            joint = joint[:, np.sort(heaviest)]
            joint = joint * (belief / joint.sum(axis=1))[:, None]
        so_far = _tells(joint, np.ones((len(joint), 1)), group)
    return out


# ---- the answer -------------------------------------------------------------------------------------
def _whose(line: str, who: str) -> str:
    return line if who == "mine" else f"{who} says {line}"


def _answers(j: Judgement, alive: Live, q: Question, who: str) -> list[Json]:
    belief = alive.probability / alive.probability.sum()
    rows: list[Json] = []
    for k, (written, _) in enumerate(q.test.choices):
        after = belief * q.chance[:, k]
        total = float(after.sum())
        top = np.argsort(-after, kind="stable")[:2]
        leaves = [
            {"text": estimated(j, alive.index[int(h)])[0], "probability": float(after[h] / total)}
            for h in top
        ]
        line = _whose(reading_line(j.circuit, q.test).replace("{value}", written), who)
        rows.append({"words": written, "line": line, "probability": total, "leaves": leaves})
    return [*rows, {"words": "don't know", "line": None, "probability": None, "leaves": []}]


def _masses(j: Judgement) -> dict[str, float]:
    """Probability by part, most first."""
    found: dict[str, float] = {}
    names = {key(p.name): p.name for p in j.circuit.parts}
    for h in j.post.ranking():
        for part in {key(f.at.part) for c in j.suspects[h].causes for f in c.faults}:
            if part in names:
                found[names[part]] = found.get(names[part], 0.0) + float(j.post.probability[h])
    return dict(sorted(found.items(), key=lambda x: -x[1]))


def _exchanged(j: Judgement) -> Json:
    """What was exchanged already, without effect."""
    kinds = {p.name: p.kind for p in j.circuit.parts}
    told = {key(o.part or "") for o in j.seen.all if o.kind == "exchanged"}
    mass = [(n, m) for n, m in _masses(j).items() if kinds[n] in EXCHANGED and key(n) not in told]
    choices = [{"part": n, "line": f"{name_text(n)} replaced, no change", "probability": m}
               for n, m in mass[:MOST_CHOICES]]  # fmt: skip
    return {"ask": "What was exchanged already, without any change?", "choices": choices}


def _worked_on(j: Judgement) -> Json:
    """What was worked on last: it and what it is joined to become likelier."""
    factor, source = worked_factor()
    known = {key(w.part) for w in (*j.circuit.worked_on, *j.worked)}
    parts = {p.name: p for p in j.circuit.parts}
    mass = _masses(j)
    near = {
        n: m + sum(mass.get(x.name, 0.0) for x in neighbours(j.circuit, parts[n]))
        for n, m in mass.items() if parts[n].kind != "wire" and key(n) not in known
    }  # fmt: skip
    best = sorted(near.items(), key=lambda x: -x[1])[:MOST_CHOICES]
    said = '"what was done, and when"'
    choices = [{"part": n, "line": f"worked on {name_text(n)} {said}", "probability": min(m, 1.0)}
               for n, m in best]  # fmt: skip
    ask = "What was worked on, fitted, jump-started or washed last, and where?"
    return {"ask": ask, "factor": factor, "source": source, "choices": choices}


def intake(sheet_text: str, readings_text: str, options: IntakeOptions = IntakeOptions()) -> Json:
    """The questions worth asking before leaving home (docs/json.md, intake)."""
    if options.who not in WHOSE:
        raise one("unknown-who", f"nobody is called {options.who}", expected=tuple(WHOSE),
                  nearest=nearest(options.who, list(WHOSE)), remedy="say who answers")  # fmt: skip
    sheet = load(sheet_text)
    j = judge(sheet.circuit, readings_text, history=options.history)
    alive = live(j)
    group = _groups(j, alive)
    mass = np.zeros(int(group.max()) + 1)
    np.add.at(mass, group, alive.probability / alive.probability.sum())
    rows = [
        {
            "rank": n,
            "ask": words(sheet.circuit, q.test),
            "about": q.test.said.part if q.test.said is not None else q.test.spot.name,
            "phase": drive_cycle(sheet.circuit)[q.test.phase].name,
            "bits": q.bits,
            "adds_bits": q.adds,
            "answers": _answers(j, alive, q, options.who),
        }
        for n, q in enumerate(ranked(j, options), 1)
    ]
    body = {
        "who": options.who, "questions": rows, "exchanged": _exchanged(j), "worked_on": _worked_on(j),
        "open_bits": _entropy(mass), "groups": len(mass), "minutes_min": 0.0,
    }  # fmt: skip
    return answer("intake", sheet, body, problems=(*j.problems, *_never_asked(sheet.circuit, options)))


def _never_asked(circuit: Circuit, options: IntakeOptions) -> Iterator[Problem]:
    """A warning for each question told as unknown that nobody asks here."""
    asked = [words(circuit, t) for t in askable(circuit)] if options.unknown else []
    for text in options.unknown:
        if key(text) not in {key(x) for x in asked}:
            yield Problem(
                "unknown-question",
                f"nobody asks: {text}",
                severity="warning",
                nearest=nearest(text, asked),
                remedy="copy the question as it was asked",
            )
