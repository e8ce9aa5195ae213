"""The proof, part and module sheets as data: what is shown by which reading, what is missing and the test
that would show it, what else still fits and the one reading that would part it from the first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from amptrail.circuit.model import Circuit, Fault
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.words import function_of
from amptrail.jobs.judging import groups, offers, trials
from amptrail.jobs.judging.claims import LOADS
from amptrail.jobs.judging.condemn import TEN, Line, Sheet, leading, sheet_of
from amptrail.jobs.judging.panel import Candidate, live
from amptrail.jobs.judging.poweroff import last_resort
from amptrail.jobs.judging.shows import (
    Offer,
    asked,
    cost,
    excluding,
    literal,
    offer_json,
    separating,
    showing,
    sockets,
)
from amptrail.jobs.judging.suspects import estimated, judge
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.paper.facts import Check

ALTERNATIVES = 6  # a page names no more; the rest are counted
LEAST = 2e-4  # an alternative less likely than this is counted, not named
HALF = 0.5  # from here on a part leads: more likely than not
TOOLS = ("meter", "loaded", "clamp")


Tests = tuple[tuple[Offer, ...], int]  # and how many counter-cases no allowed test excludes


@dataclass(frozen=True, eq=False)
class Alternative:
    """What still fits beside what is claimed, and the reading that would part them."""

    text: str
    probability: float
    test: Offer | None


@dataclass(frozen=True, eq=False)
class Proof:
    """A sheet with a test for each missing line, and the alternatives. `sheet` None: nothing to condemn."""

    sheet: Sheet | None
    lead: int
    tests: tuple[Tests, ...]
    alternatives: tuple[Alternative, ...]
    more: int


def _tests(j: Judgement, s: Sheet, line: Line) -> Tests:
    if line.state == "shown":
        return (), 0
    part, d = s.claim.part, line.demand
    blamed = tuple(dict.fromkeys(j.now(f) for f in s.blamed))
    if d.literal:
        told = literal(j.circuit, d, part.name)
        return ((told,), 0) if told is not None else ((), 1)
    if d.what == "alone" and not line.left:
        return (), 0
    if d.what == "fails" and (part.kind in LOADS or function_of(j.circuit, part.name) is not None):
        return (asked(j.circuit, part.name),), 0
    left = line.left or d.counters
    more: list[Candidate] = []
    if d.what == "alone":
        parted = [t for t in (*trials.unplugged(j), *trials.parted(j, part)) if t.said is None]
        more = [*sockets(j.circuit), *parted]
    found, open_ = showing(j.circuit, d, blamed, left, more, j.own)
    if open_ and d.at is not None:  # nothing at the terminal itself will do: then wherever something does
        found, open_ = showing(j.circuit, replace(d, at=None), blamed, left, (), j.own)
    if open_:
        off = list(last_resort(j.circuit, d, part, open_))
        added, open_ = excluding(j.circuit, off, blamed, open_, j.own)
        found += added
    return found, len(open_)


@lru_cache(maxsize=64)
def _every_test(circuit: Circuit) -> tuple[Candidate, ...]:
    phases = range(len(drive_cycle(circuit)))
    return tuple(sorted(offers.measured(circuit, phases, TOOLS, ()), key=lambda t: cost(circuit, t)))


def _alternatives(
    j: Judgement, first: Sequence[int], blamed: Sequence[tuple[Fault, ...]]
) -> tuple[tuple[Alternative, ...], int]:
    """What the readings do not speak against ten to one beside the first, whatever its prior."""
    p, fit = j.post.probability, j.post.log_evidence
    best = max(float(fit[h]) for h in first)
    still = [
        h
        for h in j.post.ranking()
        if h not in first and fit[h] > best - TEN and j.suspects[h].causes[0].faults
    ]
    alive = live(j)
    rows = dict(zip(alive.index, alive.rows, strict=True))
    own = [r for h in first if h in rows for r in dict.fromkeys(rows[h])] or [j.now(f) for f in blamed]
    named: dict[str, Alternative] = {}
    for h in still:
        text = estimated(j, h)[0]
        if len(named) >= ALTERNATIVES or p[h] < LEAST or h not in rows:
            break
        if text not in named:
            found = separating(j.circuit, _every_test(j.circuit), own, list(dict.fromkeys(rows[h])), j.own)
            named[text] = Alternative(text, float(p[h]), found)
    return tuple(named.values()), len(still) - len(named)


def proof_of(j: Judgement, part: str | None = None, others: bool = True) -> Proof:
    """The sheet of the leading suspect, or of the part named, with tests and (`others`) alternatives."""
    s = sheet_of(j, part)
    tests = tuple(_tests(j, s, x) for x in s.lines) if s is not None else ()
    lead = s.suspect if s is not None else leading(j)
    if not others:
        return Proof(s, lead, tests, (), 0)
    first = next((g.members for g in groups.merge(j) if lead in g.members), (lead,))
    found, more = _alternatives(j, first, s.blamed if s is not None else [()])
    return Proof(s, lead, tests, found, more)


# ---- as data, and as facts for paper ----------------------------------------------------------------
def _read(o: Observation) -> Json:
    return {"line": o.line, "text": o.text}


def _line(circuit: Circuit, x: Line, tests: Tests) -> Json:
    return {
        "what": x.demand.what,
        "point": str(x.demand.at) if x.demand.at else None,
        "words": x.demand.words,
        "state": x.state,
        "by": [_read(o) for o in x.by],
        "tests": [offer_json(circuit, t) for t in tests[0]],
        "cannot": tests[1],
    }


def body(j: Judgement, p: Proof) -> Json:
    """The answer's body (docs/json.md, condemn)."""
    s = p.sheet
    return {
        "part": s.claim.part.name if s else None,
        "kind": s.claim.kind if s else None,
        "claim": estimated(j, p.lead)[0],
        "probability": _weight(j, s) if s else _alike(j, p.lead),
        "proven": s.proven if s else False,
        "missing": sum(x.state != "shown" for x in s.lines) if s else 0,
        "lines": [_line(j.circuit, x, t) for x, t in zip(s.lines, p.tests, strict=True)] if s else [],
        "alternatives": [
            {
                "text": a.text,
                "probability": a.probability,
                "test": offer_json(j.circuit, a.test) if a.test else None,
            }
            for a in p.alternatives
        ],
        "more_alternatives": p.more,
    }  # fmt: skip


def to_prove(j: Judgement) -> Json | None:
    """What is still missing before the part that leads the suspects may be called dead; None while no part or
    module leads by itself, or when nothing is missing."""
    lead = next((h for h in j.post.ranking()[:1] if len(j.suspects[h].causes) == 1), None)
    if lead is None or not j.suspects[lead].causes[0].faults or j.post.probability[lead] < HALF / 2:
        return None
    s = sheet_of(j)
    if s is None or s.claim.kind == "path" or s.suspect != lead or _weight(j, s) < HALF or s.proven:
        return None
    lines = [_line(j.circuit, x, _tests(j, s, x)) for x in s.lines if x.state != "shown"]
    part = {"part": s.claim.part.name, "kind": s.claim.kind, "claim": estimated(j, lead)[0]}
    return {**part, "probability": _weight(j, s), "missing": len(lines), "lines": lines}


def _alike(j: Judgement, lead: int) -> float:
    """Probability of all that reads like what leads: as `suspects` has it on one line."""
    row = next((g.probability for g in groups.merge(j) if lead in g.members), None)
    return float(j.post.probability[lead]) if row is None else row


def _weight(j: Judgement, s: Sheet) -> float:
    """Probability of everything that blames this part alone."""
    mine = [h for h, x in enumerate(j.suspects) if x.causes[0].faults and
            all(f.at.part == s.claim.part.name for c in x.causes for f in c.faults)]  # fmt: skip
    return float(j.post.probability[mine].sum())


def condemn(
    sheet_text: str, readings_text: str, part: str | None = None, own: Own = STANDARD, history: History = NONE
) -> Json:
    """May the part be called dead? Exit status 1 while something is missing (docs/json.md, condemn)."""
    sheet = load(sheet_text)
    j = judge(sheet.circuit, readings_text, history=history, own=own).leading
    p = proof_of(j, part)
    proven = p.sheet is not None and p.sheet.proven
    return answer("condemn", sheet, body(j, p), problems=j.problems, exit_status=0 if proven else 1)


def checks(p: Proof) -> tuple[Check, ...]:
    """The lines as paper ticks them."""
    if p.sheet is None:
        return ()
    return tuple(_check(x, t) for x, t in zip(p.sheet.lines, p.tests, strict=True))


def _check(x: Line, tests: Tests) -> Check:
    if x.state == "missing":
        by = "; ".join(f"{t.line.replace(' {value}', '')}: good if {t.good}" for t in tests[0])
        return Check(x.demand.words, None, by.replace("\n", ", ") or None)
    return Check(x.demand.words, x.state == "shown", "; ".join(o.text for o in x.by) or None)
