"""Papers of a job: facts gathered from its log and from the use cases, set as text, PDF or HTML."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal, get_args

from amptrail.circuit.model import Circuit, Fault, Refuse, key
from amptrail.errors import InputError, nearest, one, typed
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.figures import ohms
from amptrail.jobs.feeding.offering import offered
from amptrail.jobs.judging.claims import may_condemn
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.proofsheet import Alternative, checks, proof_of
from amptrail.jobs.judging.rootcause import good_tries, to_check
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects
from amptrail.jobs.log.cases import Case
from amptrail.jobs.papers.accepting import acceptance
from amptrail.jobs.papers.mending import FIGURE, mended
from amptrail.jobs.papers.paperfacts import charged, drawing, no_drive, photographs, places, to_read
from amptrail.paper import Paper
from amptrail.paper.blocks import HALF, LABELS, SHEETS
from amptrail.paper.facts import CaseFacts, Check, Fitted, Found, Reading, Shown, Slice
from amptrail.paper.findings import findings
from amptrail.paper.invoice import invoice
from amptrail.paper.label import Where, label
from amptrail.paper.notice import notice
from amptrail.paper.pencil import pencil
from amptrail.paper.quote import quote
from amptrail.paper.sheets import condemn, proof
from amptrail.paper.slip import slip
from amptrail.paper.told import told
from amptrail.paper.translated import in_language
from amptrail.paper.words import ENGLISH, say, speaking
from amptrail.sheet import fault_text, parse_fault
from amptrail.sheet.readers import reader_of
from amptrail.sheet.said import short

Kind = Literal[
    "findings", "slip", "label", "notice", "quote", "proof-sheet", "part-sheet", "module-sheet", "pencil",
    "invoice",
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)
PROVING = ("proof-sheet", "part-sheet", "module-sheet")
UNWEIGHED = ("label", "notice", "invoice")  # nothing on them rests on what still fits
LIVE = 0.01  # a suspect less likely than this is not shown to a customer
MADE_NEW = re.compile(r"^(?!with\b)\S+ (?:replaced|repaired)\b", re.IGNORECASE)
IN_VAIN = re.compile(r"\bno change\b", re.IGNORECASE)
REPLACED = re.compile(r"^(?:\w+ says )?(\S+) replaced\b.*no change", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class PaperOptions:
    """Which paper on which sheet (`a4`, `letter`, or a label's size), which feed, where the label goes, the
    day, the part a part sheet is about."""

    kind: Kind
    sheet: str = "a4"
    feed: str | None = None
    where: Where = "splice"
    today: date | None = None
    part: str | None = None
    language: str | None = None  # without: the job's own, else English


def _found(row: Json, separates: str | None) -> Found:
    size = ""
    if row["severity"]:
        s = row["severity"]
        size = f"about {ohms(s['ohm'])} ({ohms(s['low'])} to {ohms(s['high'])})"
    words = re.sub(FIGURE, "", str(row["words"]))
    others = tuple(dict.fromkeys(re.sub(FIGURE, "", x) for x in row["equivalent"]))
    return Found(words, size, row["repair"], row["repair_minutes"], row["probability"], others, separates)


def _separating(row: Json, first: Json, tests: Sequence[Json]) -> str | None:
    """The test whose outcomes leave this suspect and the first one apart."""
    mine, leading = row["text"], first["text"]
    for t in tests:
        for o in t["outcomes"]:
            left = {x["text"]: x["probability"] for x in o["leaves"]}
            if mine in left and left.get(leading, 0.0) < 0.05:
                return str(t["line"]).replace(" {value}", "")
    return None


def _readings(text: str, weighed: Json) -> tuple[Reading, ...]:
    ruled = {int(r["line"]): tuple(r["ruled_out"]) for r in weighed["ruled_out_by"]}
    alone = len({reader_of(line)[1] for line in text.splitlines()} - {""}) < 2
    return tuple(
        Reading((reader_of(line)[0] if alone else line).strip(), ruled.get(n, ()))
        for n, line in enumerate(text.splitlines(), 1)
        if line.split("#", 1)[0].strip()
    )


def _up(minutes: float) -> float:
    """Rounded up to the next quarter of an hour, as time is agreed on."""
    return math.ceil(minutes / 15.0) * 15.0


def _slices(plan: Json) -> tuple[Slice, ...]:
    """Where to stop and talk: after the first visit, and when eight jobs of ten have their proven cause."""
    if not plan["visits"]:
        return ()
    first = plan["visits"][0]
    outcomes = first["tests"][0]["outcomes"] if first["tests"] else []
    leaves = dict.fromkeys(short(o["leaves"][0]["text"]) for o in outcomes if o["leaves"])
    names = "; ".join(told(x) for x in leaves) or first["place"]
    found = [Slice(_up(first["minutes_min"]), say("quote.tells", names=names))]
    late = _up(max(plan["p80_min"] or 0.0, plan["expected_min"] or 0.0))
    if late > found[0].minutes:
        found.append(Slice(late, say("quote.eight")))
    return tuple(found)


def _vain(text: str) -> tuple[str, ...]:
    return tuple(m[1] for line in text.splitlines() if (m := REPLACED.match(line.strip())))


def _made_new(text: str) -> tuple[str, ...]:
    """What the readings say was exchanged or mended, and not in vain: done, though nobody told it as that."""
    lines = (line.split("#", 1)[0].strip() for line in text.splitlines())
    return tuple(dict.fromkeys(x for x in lines if MADE_NEW.match(x) and not IN_VAIN.search(x)))


def _concluded(circuit: Circuit, text: str | None) -> tuple[Fault, ...]:
    try:
        return tuple(
            f
            for half in (text or "").split(" and ")
            if half.strip()
            for f in parse_fault(circuit, half.strip())
        )
    except InputError:
        return ()


def gather(case: Case, today: date | None = None, weighed_too: bool = True) -> CaseFacts:
    """Every fact of a job that paper may show. Works on a job without a sheet too: complaint and notes
    only. Without `weighed_too`, what still fits and what to test next are left out."""
    s = case.state
    sheet = load(s.sheet).circuit if s.sheet is not None else None
    day = (today or date.today()).isoformat()
    facts = CaseFacts(
        case.name, day, str(s.facts.get("vehicle", "")), str(s.facts.get("by", "")), s.complaint,
        cause=s.cause,
        done=tuple(str(r.get("text", "")) for r in s.repairs) or _made_new(s.readings_text), left=s.left,
        feeds=tuple(fitted_of(d) for d in s.feeds), rate_per_hour=s.facts.get("rate"),
        currency=str(s.facts.get("currency", "")), battery_ah=s.facts.get("battery_ah"),
        odometer=str(s.facts.get("odometer", "")),
        recordings=tuple(_shown(r) for r in s.recordings), **charged(case, sheet),
    )  # fmt: skip
    if s.sheet is None or sheet is None:
        return facts
    circuit = sheet
    if not weighed_too:
        return _concluded_only(facts, circuit, _concluded(circuit, s.conclusion))
    text = s.readings_text
    weighed = suspects(s.sheet, text, SuspectOptions())
    plan = next_tests(s.sheet, text, NextOptions())
    tests = [t for v in plan["visits"] for t in v["tests"]]
    rows = [r for r in weighed["suspects"] if r["probability"] >= LIVE]
    found = tuple(_found(r, _separating(r, rows[0], tests) if r is not rows[0] else None) for r in rows)
    proven = _concluded(circuit, s.conclusion)
    if proven:
        same, first = mended(circuit, proven, found)
        found = (first, *(f for f in found if f is not same))
    if found:
        found = (replace(found[0], places=places(circuit, proven or _first(circuit, rows))), *found[1:])
    names = proven or tuple(_first(circuit, rows))
    tries = good_tries(text)
    good = acceptance(circuit, names)
    if tries:
        good = (*good, f"{tries} tries one after the other without failure")
    return replace(
        facts, vehicle=facts.vehicle or circuit.title, found=found, proven=bool(proven),
        unexplained=bool(weighed["unexplained"]["is"]) and not proven, readings=_readings(text, weighed),
        neighbours=tuple(n.words for n in to_check(circuit, names)), vain=_vain(text), acceptance=good,
        expected_min=plan["expected_min"], p80_min=plan["p80_min"], bound_min=plan["bound_min"],
        slices=_slices(plan), drawing=drawing(circuit, names, text, s.feeds), photographs=photographs(case),
        no_drive=no_drive(circuit, facts.feeds, names), to_read=to_read(circuit, plan),
    )  # fmt: skip


def _concluded_only(facts: CaseFacts, circuit: Circuit, proven: tuple[Fault, ...]) -> CaseFacts:
    found = (Found(fault_text(circuit, proven), "", "", 0.0, 1.0),) if proven else ()
    return replace(facts, vehicle=facts.vehicle or circuit.title, found=found, proven=bool(proven))


def _proved(case: Case, facts: CaseFacts, part: str | None) -> CaseFacts:
    """The facts with what is shown and missing of the part named, of what was concluded, or of what leads."""
    if case.state.sheet is None:
        return facts
    circuit = load(case.state.sheet).circuit
    concluded = _concluded(circuit, case.state.conclusion)
    j = judge(circuit, case.state.readings_text).leading
    shown = proof_of(
        j, part or (concluded[0].at.part if concluded and may_condemn(circuit, concluded) else None)
    )
    return replace(
        facts, alternatives=tuple(_alternative(a) for a in shown.alternatives), more_alternatives=shown.more,
        claim=shown.sheet.claim.part.name if shown.sheet else "",
        module=shown.sheet is not None and shown.sheet.claim.kind == "module", checks=checks(shown),
    )  # fmt: skip


def _alternative(a: Alternative) -> tuple[str, str]:
    """What else fits, and the line to be read that would part it from the first."""
    return a.text, a.test.line.replace(" {value}", "").replace("\n", ", ") if a.test is not None else ""


def _first(circuit: Circuit, rows: Sequence[Json]) -> list[Fault]:
    return [x for f in rows[0]["faults"] for x in parse_fault(circuit, f["text"])] if rows else []


def _shown(data: dict[str, Any]) -> Shown:
    """A recording as the log keeps it, for paper."""
    checks = tuple(Check(str(t["words"]), t["shown"], str(t["by"])) for t in data.get("verification", ()))
    return Shown(str(data.get("svg", "")), str(data.get("caption", "")), tuple(data.get("lines", ())), checks)


def fitted_of(data: dict[str, Any]) -> Fitted:
    """A feed as the log keeps it (`job fit`) for paper."""
    names = {"name", "words", "a", "b", "verdict", "why"}
    kept = {
        k: tuple(v) if isinstance(v, list) else v for k, v in data.items() if k in Fitted.__dataclass_fields__
    }
    whole: dict[str, Any] = {**dict.fromkeys(names, ""), **kept}
    return Fitted(**whole)


def _offered(case: Case) -> tuple[Fitted, ...]:
    """The feed that could be fitted instead; none where none can be looked for: what is dead is the load."""
    try:
        return tuple(fitted_of(d) for d in offered(case))
    except InputError:
        return ()


def _feed(facts: CaseFacts, name: str | None) -> Fitted:
    fitted = [f for f in facts.feeds if f.fitted]
    for f in fitted:
        if name is None or key(f.name) == key(name):
            return f
    raise one("nothing-fitted", f"job {facts.job} has no temporary feed {name or ''}".rstrip(),
              expected=tuple(f.name for f in fitted), nearest=nearest(name or "", [f.name for f in fitted]),
              remedy=f'amptrail job fit {typed(facts.job)} "FEED"')  # fmt: skip


def _safety(circuit: Circuit | None, feeds: Sequence[Fitted]) -> tuple[str, ...]:
    """Parts of the classes a notice must speak of that a fitted feed goes to or cuts."""
    if circuit is None:
        return ()
    refused: dict[str, Refuse] = {key(r.part): r for r in circuit.refuses}
    met = [p for f in feeds for p in (f.a, f.b, *f.cuts)]
    parts = {key(p.split(".")[0]) for p in met}
    return tuple(f"{r.part} ({told(r.refuse_class)})" for k, r in refused.items() if k in parts)


def make(case: Case, asked: PaperOptions) -> Paper:
    """The paper asked for, in its language. InputError for an unknown size or language, or where the job has
    nothing to say on it."""
    language = asked.language or str(case.state.facts.get("language") or ENGLISH)
    with speaking(language):
        return replace(_made(case, asked), language=language)


def _made(case: Case, asked: PaperOptions) -> Paper:
    facts = gather(case, asked.today, asked.kind not in UNWEIGHED)
    if asked.kind in PROVING:
        facts = _proved(case, facts, asked.part)
    if asked.kind == "slip" and not any(f.holds for f in facts.feeds):  # what could be fitted instead
        facts = replace(facts, feeds=(*facts.feeds, *_offered(case)))
    facts = in_language(facts)
    circuit = load(case.state.sheet).circuit if case.state.sheet else None
    if asked.kind == "label":
        size = LABELS.get(asked.sheet if asked.sheet != "a4" else "62x29")
        if size is None:
            raise one("paper-size", f"no label is {asked.sheet}", expected=tuple(LABELS),
                      nearest=nearest(asked.sheet, list(LABELS)), remedy="--paper 62x29")  # fmt: skip
        return label(facts, _feed(facts, asked.feed), asked.where, size)
    if asked.sheet not in SHEETS:
        raise one("paper-size", f"no sheet is {asked.sheet}", expected=tuple(SHEETS),
                  nearest=nearest(asked.sheet, list(SHEETS)), remedy="--paper a4")  # fmt: skip
    full = SHEETS[asked.sheet]
    match asked.kind:
        case "slip":
            return slip(facts, HALF[asked.sheet])
        case "notice":
            return notice(facts, full, _safety(circuit, [f for f in facts.feeds if f.fitted]))
        case "quote":
            return quote(facts, full)
        case "proof-sheet":
            return proof(facts, full)
        case "part-sheet" | "module-sheet":
            if not facts.claim:
                raise one("nothing-to-condemn", "no part leads that could be called dead",
                          remedy="name one: --part PUMP")  # fmt: skip
            return condemn(facts, facts.claim, facts.module, full)
        case "pencil":
            return pencil(facts, full)
        case "invoice":
            return invoice(facts, full)
        case _:
            return findings(facts, full)


def paper(case: Case, made: Paper, command: str) -> Json:
    """The answer object of a paper: its text, and its blocks as data."""
    from amptrail.paper.plain import plain

    sheet = load(case.state.sheet) if case.state.sheet else None
    done = "; ".join(str(r.get("text", "")) for r in case.state.repairs) or None
    body = {"job": case.name, "text": plain(made), "paper": made.data()}
    return answer(command, sheet, {**body, "complaint": case.state.complaint, "done": done})
