"""`practice`: a hidden fault to find on a circuit; your tests beside those of the plan.

Stateless: the circuit, the seed and what was tried so far give the whole answer, so a terminal, a page and a
script see the same. What is hidden is told only at the end.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from random import Random

from amptrail.circuit.model import Circuit, Fault
from amptrail.errors import InputError, Problem, one
from amptrail.faults import catalogue
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.evidence.words import asked_of
from amptrail.jobs.judging.visiting import standing
from amptrail.jobs.practise.practiceplay import best, played, price, verdict
from amptrail.jobs.practise.practicevehicle import Vehicle, drawn
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import never
from amptrail.jobs.solved.observe import Observation, observations
from amptrail.sheet import fault_text, parse_fault

DRAWS = 60  # faults drawn at most until one shows; a circuit on which none shows cannot be practised on
ENDS = ("it is ", "give up")
NOTHING_CHANGED = Conditions()
EXAMPLE = "K4.87 in running meter ?"


@dataclass(frozen=True, slots=True)
class PracticeOptions:
    """`tries`: one line each: a reading with `?` where its answer goes, a standing condition (`with X7
    unplugged`, `without conditions`), and at the end `it is FAULT` or `give up`."""

    seed: int = 0
    tries: str = ""


@dataclass
class _Course:
    """A job as far as it has come."""

    circuit: Circuit
    vehicle: Vehicle
    readings: str
    rows: list[Json] = field(default_factory=list)
    before: Conditions = NOTHING_CHANGED
    said: str | None = None


def hide(circuit: Circuit, seed: int) -> tuple[tuple[Fault, ...], str]:
    """The hidden fault of this seed and the owner's one line. Drawn by how often such faults happen, and
    drawn again when nobody would notice it."""
    causes = [c for c in catalogue(circuit) if c.faults]
    rng = Random(f"practice/{seed}")
    for _ in range(DRAWS if causes else 0):
        hidden = drawn(rng, causes)
        complaint = Vehicle(circuit, hidden).complaint()
        if complaint:
            return hidden, complaint
    raise one(
        "nothing-to-hide", "no fault of this circuit would be noticed by its owner",
        remedy="say what must work, with `must` lines, or the draw at rest, with a `draw` line",
    )  # fmt: skip


def _condition(line: str) -> bool:
    return line.startswith("with ") or line == "without conditions"


def _try(c: _Course, line: str) -> None:
    """One reading: what it shows and what it cost."""
    if line.count("?") != 1:
        raise one(
            "no-question", f"{line!r} asks nothing", remedy=f"put one ? where the answer goes: {EXAMPLE}"
        )
    asked = line.replace("?", "{value}")
    here = standing(c.circuit, observations(c.circuit, c.readings).used)
    shown, o = c.vehicle.ask(asked, c.readings)
    if o.spot is not None and never(c.circuit, o.spot.a):
        raise one("never-probe", f"{o.spot.a} is not probed, in practice neither",
                  remedy="read beside it, or ask what works")  # fmt: skip
    c.rows.append(_row(c, line, asked, shown, price(c.circuit, o, here, c.before), o))
    c.before = o.conditions
    c.readings += asked.replace("{value}", shown) + "\n"


def _row(c: _Course, line: str, asked: str, shown: str, minutes: float, o: Observation) -> Json:
    return {"asked": line, "read": asked.replace("{value}", shown), "minutes_min": round(minutes, 2),
            "before": c.readings, "instrument": o.instrument, "better": None}  # fmt: skip


def _end(c: _Course, line: str) -> None:
    text = line.removeprefix("it is ").strip() if line.startswith("it is ") else ""
    if text:
        parse_fault(c.circuit, text)
    c.said = text


def _course(circuit: Circuit, o: PracticeOptions) -> tuple[_Course, tuple[Fault, ...]]:
    """Everything tried, in order; InputError with the line that cannot be."""
    hidden, complaint = hide(circuit, o.seed)
    c = _Course(circuit, Vehicle(circuit, hidden), complaint)
    problems: list[Problem] = []
    for n, raw in enumerate(o.tries.splitlines(), 1):
        line = raw.strip()
        if not line or line.startswith("#") or c.said is not None:
            continue
        try:
            if line.lower().startswith(ENDS):
                _end(c, line)
            elif _condition(line):
                observations(circuit, c.readings + line + "\n")
                c.readings += line + "\n"
            else:
                _try(c, line)
        except InputError as e:
            problems += [Problem(p.code, p.message, line=n, column=p.column, expected=p.expected,
                                 nearest=p.nearest, remedy=p.remedy) for p in e.problems]  # fmt: skip
    if problems:
        raise InputError(tuple(problems))
    return c, hidden


def _compared(c: _Course) -> None:
    """Beside each test the one that the plan would have done then."""
    for row in c.rows:
        test = best(c.circuit, row["before"])
        if test is None:
            row["better"] = {"line": None, "minutes_min": 0.0, "why": "enough was known to repair"}
            continue
        line = " | ".join(test["line"].replace("{value}", "?").split("\n"))
        row["better"] = {
            "line": line,
            "minutes_min": round(test["minutes_min"]["total"], 2),
            "why": test["why"],
        }


COMPLAINT = re.compile(r"(?P<what>\S+|`[^`]+`) in (?P<phase>\S+|`[^`]+`) (?P<how>does not work|works)")


def owner(circuit: Circuit, complaint: str) -> str:
    """The complaint as an owner says it: the part, not the name of its function alone."""
    m = COMPLAINT.fullmatch(complaint)
    if m is None:
        return complaint
    what = asked_of(circuit, m["what"].strip("`"))
    return f"{what} {'still works' if m['how'] == 'works' else m['how']} in {m['phase'].strip('`')}"


def practice(sheet_text: str, options: PracticeOptions) -> Json:
    """How far the practice has come (docs/json.md, practice)."""
    sheet = load(sheet_text)
    c, hidden = _course(sheet.circuit, options)
    minutes = round(sum(r["minutes_min"] for r in c.rows), 2)
    body: Json = {
        "seed": options.seed,
        "complaint": " ".join(c.readings.split("\n", 1)[0].split()),
        "owner": "",
        "ended": c.said is not None,
        "minutes_min": minutes,
        "tests": len(c.rows),
        "said": c.said or None,
        "right": None,
        "told": None,
        "hidden": None,
        "plan": None,
        "score": None,
    }
    body["owner"] = owner(sheet.circuit, body["complaint"])
    if c.said is not None:
        right, told = False, "given up"
        if c.said:
            right, told = verdict(sheet.circuit, parse_fault(sheet.circuit, c.said), hidden, c.readings)
        p = played(sheet.circuit, hidden, body["complaint"] + "\n")
        _compared(c)
        planned = round(sum(p.minutes), 2)
        rows = [{"read": " | ".join(x.split("\n")), "minutes_min": round(m, 2)}
                for x, m in zip(p.lines, p.minutes, strict=True)]  # fmt: skip
        body |= {
            "right": right,
            "told": told,
            "hidden": fault_text(sheet.circuit, hidden),
            "plan": {"minutes_min": planned, "tests": len(rows), "lines": rows, "said": p.said},
            "score": _score(right, minutes, planned),
        }
    body["tries"] = [{k: v for k, v in r.items() if k not in ("before", "instrument")} for r in c.rows]
    body["text"] = _text(body)
    return answer("practice", sheet, body, exit_status=1 if body["right"] is False else 0)


def _text(b: Json) -> str:
    """The same for a person: what was read, and at the end what the plan would have done."""
    lines = [f"The owner says: {b['owner']}"]
    for r in b["tries"]:
        lines.append(f"{r['minutes_min']:6.1f} min  {' | '.join(r['read'].splitlines())}")
        better = r["better"]
        if better and better["line"] is None:
            lines.append(f"            the plan: {better['why']}")
        elif better and better["line"] != r["asked"]:
            lines.append(f"            the plan: {better['line']} ({better['why']})")
    lines.append(f"{b['minutes_min']:6.1f} min  {b['tests']} tests")
    if b["plan"] is None:
        return "\n".join([*lines, f"Test as `{EXAMPLE}`; end with `it is X7.4 open` or `give up`."])
    p = b["plan"]
    lines += [f"You said: {b['said'] or 'nothing'}: {b['told']}", f"Hidden was: {b['hidden']}", "",
              f"The plan: {p['tests']} tests, {p['minutes_min']:.1f} min, then {p['said']}"]  # fmt: skip
    lines += [f"{r['minutes_min']:6.1f} min  {r['read']}" for r in p["lines"]]
    return "\n".join([*lines, f"Score {b['score']:g}: minutes of the plan over yours; 0 when not found"])


def _score(right: bool, minutes: float, planned: float) -> float:
    """Minutes of the plan over yours: 1 is as quick as the plan, more is quicker; 0 when it was not found."""
    return round(planned / minutes, 2) if right and minutes > 0 else float(right)


__all__ = ["PracticeOptions", "hide", "practice"]
