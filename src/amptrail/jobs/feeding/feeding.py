"""`feed`: temporary feeds judged before insulation is cut (docs/feeds.md)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from amptrail.circuit.model import Circuit, Fault, Feed, key
from amptrail.errors import Problem, nearest, one
from amptrail.feed.flags import drained
from amptrail.feed.marks import PURPOSES, Purpose
from amptrail.feed.measures import rounded
from amptrail.feed.parts import label, minutes, part_row
from amptrail.feed.proof import sha256, write_proof
from amptrail.feed.search.run import search
from amptrail.feed.shape import kind
from amptrail.feed.verdict import Verdict, judge
from amptrail.feed.words import decides, only_if, why
from amptrail.jobs.base.context import Json, Sheet, answer, load
from amptrail.jobs.base.faultnames import named_or_text
from amptrail.jobs.feeding.feeddoubt import Alive, alive, doubted
from amptrail.jobs.feeding.feedsearch import found_more, mark_json, search_json, with_fitted
from amptrail.jobs.solved.feeds import find_feed
from amptrail.reference.cautions import cautions
from amptrail.sheet import fault_text, parse
from amptrail.sheet.printer import feed_lines

ORDER = ("holds", "undecided", "refused")


@dataclass(frozen=True, slots=True)
class FeedOptions:
    """What is asked of `feed`. `restore`: parts or functions to search feeds for; `fitted`: feeds of the
    sheet that are in the vehicle already; `readings_text`: what was measured (live suspects doubt a feed)."""

    feeds: tuple[str, ...] = ()
    feeds_text: str | None = None
    every_feed: bool = False
    purpose: str = "leave"
    against: tuple[str, ...] = ()
    nominal: bool = False
    rules: str = "all"
    restore: tuple[str, ...] = ()
    fitted: tuple[str, ...] = ()
    readings_text: str | None = None
    prove: bool = False  # write out the proof of what holds


@dataclass(frozen=True, slots=True)
class Asked:
    """One feed to judge, with the words it was asked by."""

    text: str
    circuit: Circuit
    feed: Feed


def _purpose(word: str) -> Purpose:
    for p in PURPOSES:
        if p == word:
            return p
    raise one("purpose", f"no feed is for {word!r}", expected=PURPOSES, remedy="--for try, home or leave")


@lru_cache(maxsize=64)
def _with_lines(sheet_text: str, lines: str) -> Circuit:
    return parse(sheet_text.rstrip("\n") + "\n" + lines)


def _one(circuit: Circuit, text: str) -> Feed:
    """A feed by name or words; a single word that is no feed is told as such."""
    known = [f.name for f in circuit.feeds]
    if len(text.split()) == 1 and key(text.strip()) not in {key(n) for n in known}:
        raise one(
            "no-such-feed",
            f"no feed is called {text}",
            expected=tuple(known),
            nearest=nearest(text, known),
            remedy="name a feed of the sheet, or write it: from A to B fuse 5 A wire 0.5 mm2 2 m",
        )
    return find_feed(circuit, text)


def _from_file(sheet: Sheet, sheet_text: str, text: str) -> list[Asked]:
    """Feeds of a file: statements as a sheet has them (`feed J1: from …`, `J5 adds …`), or one name or one
    `from A to B …` a line."""
    lines = [(n, raw.split("#", 1)[0].strip()) for n, raw in enumerate(text.splitlines(), 1)]
    said = [(n, line) for n, line in lines if line]
    if any(key(line).startswith("feed ") for _, line in said):
        known = {key(f.name) for f in sheet.circuit.feeds}
        whole = _with_lines(sheet_text, text)
        return [Asked(f.name, whole, f) for f in whole.feeds if key(f.name) not in known]
    found = []
    for number, line in said:
        try:
            found.append(Asked(line, sheet.circuit, _one(sheet.circuit, line)))
        except Exception as e:
            problems = getattr(e, "problems", ())
            if not problems:
                raise
            p = problems[0]
            raise one(p.code, p.message, line=number, column=p.column, expected=p.expected, nearest=p.nearest,
                      remedy=p.remedy) from e  # fmt: skip
    return found


def _asked(sheet: Sheet, sheet_text: str, o: FeedOptions) -> list[Asked]:
    found = [Asked(t, sheet.circuit, _one(sheet.circuit, t)) for t in o.feeds]
    if o.feeds_text is not None:
        found += _from_file(sheet, sheet_text, o.feeds_text)
    if o.every_feed:
        found += [Asked(f.name, sheet.circuit, f) for f in sheet.circuit.feeds]
    if not found and not o.restore:
        raise one("no-feed", "there is no feed to judge",
                  expected=("--restore PART", "--feed TEXT", "--feeds FILE", "--every-feed"),
                  remedy='say which: --feed "from F3.out to K4.86 fuse 5 A wire 0.5 mm2 2 m"')  # fmt: skip
    return found


def fitting_cautions(circuit: Circuit, feed: Feed) -> list[str]:
    """What can hurt or burn while this feed is fitted: battery, heat, moving parts where its ends are."""
    touched = {key(h.part) for p in feed.paths for h in p.hops}
    touched |= {key(t.part) for n in feed.nets for t in n.terms} | {key(c.split(".")[0]) for c in feed.cuts}
    at = {key(p.place) for p in circuit.parts if p.place and key(p.name) in touched}
    traits = {f"trait:{t}" for p in circuit.places if key(p.name) in at for t in p.traits}
    return [c.text for c in cautions({"feed", "part:battery", *traits})]


def _row(a: Asked, v: Verdict, nominal: bool) -> Json:
    f = v.fitted
    because = fault_text(a.circuit, f.against) if f.against else ""
    return {
        "text": a.text,
        "name": a.feed.name,
        "said": a.feed.text,
        "purpose": v.purpose,
        "against": because or None,
        "true_only_if": only_if(v),
        "decides": decides(v),
        "would_break": [mark_json(m) for m in v.doubtful],
        "long_text": list(feed_lines(a.circuit, a.feed)),
        "kind": kind(f),
        "verdict": v.verdict,
        "rule": v.rule,
        "why": why(v),
        "refusals": [mark_json(m) for m in v.broken],
        "notes": [mark_json(m) for m in v.notes],
        "already_so": [mark_json(m) for m in v.already_so],
        "flags": v.flags,
        "drained": {"battery": most[0], "amps": rounded(most[1])} if (most := drained(v.lives)) else None,
        "worst_case": {}
        if nominal
        else {r: {**mark_json(m), "margin": m.margin} for r, m in v.worst.items()},
        "margins": {r: {**mark_json(m), "margin": m.margin} for r, m in v.margins.items()},
        "parts": [part_row(p) for p in a.feed.parts],
        "minutes_min": minutes(f),
        "label": label(f, v.purpose, because),
        "cautions": fitting_cautions(a.circuit, a.feed),
        "proof_sha256": None,
    }


def feed(sheet_text: str, options: FeedOptions) -> Json:
    """Judge feeds (docs/json.md, feed). Exit status 1 when none of them holds."""
    purpose = _purpose(options.purpose)
    if options.rules not in ("all", "oracle"):
        raise one("rules", f"no set of rules is called {options.rules!r}", expected=("all", "oracle"))
    sheet = _as_it_stands(load(sheet_text), options.fitted)
    against: tuple[Fault, ...] = tuple(x for t in options.against for x in named_or_text(sheet.circuit, t))
    living: Alive | None = None
    if options.readings_text is not None and not options.nominal:
        living = alive(sheet.circuit, options.readings_text)
        against = against or living.likeliest
    asked = _asked(sheet, sheet_text, options)
    oracle = options.rules == "oracle"
    if options.prove and (oracle or options.nominal or options.fitted):
        raise one("no-proof", "a proof is of one feed over the sheet, by all rules, in the worst case too",
                  remedy="leave out --nominal, --rules oracle and --fitted")  # fmt: skip
    told: list[Json] = []
    body: Json = {}
    for a in asked:
        v = judge(a.circuit, a.feed, purpose, against, oracle=oracle, nominal=options.nominal)
        row = _doubt(a, v, _row(a, v, options.nominal), living)
        told.append(_proved(a, v, row, sheet_text) if options.prove else row)
    if options.restore:
        names = tuple(x for n in options.restore for x in _names(n))
        if not names:
            raise one(
                "usage", "what must work again?", remedy="name it: --restore PUMP, or --restore PUMP,FAN"
            )
        s = search(sheet.circuit, names, purpose, against, nominal=options.nominal)
        body["search"] = search_json(sheet.circuit, s)
        rows = []
        for f in s.found:
            a = Asked(f.text, sheet.circuit, f.feed)
            rows.append(
                (
                    {**_doubt(a, f.verdict, _row(a, f.verdict, options.nominal), living), **found_more(f)},
                    a,
                    f.verdict,
                )
            )
        rows.sort(key=lambda r: ORDER.index(r[0]["verdict"]))  # stable: the order of the search within
        if rows and options.prove:  # of what was found, the best
            row, a, v = rows[0]
            rows[0] = (_proved(a, v, row, sheet_text), a, v)
        told += [{**r, "rank": n} for n, (r, _, _) in enumerate(rows, 1)]
    holds = any(r["verdict"] == "holds" for r in told)
    problems = () if told else (_NONE,)
    return answer("feed", sheet, {"feeds": told, **body}, problems=problems, exit_status=0 if holds else 1)


_NONE = Problem(
    "no-feed-found", "no feed bridges this: every candidate leaves something dead", severity="note",
    remedy="repair what is broken: a joint is cleaned, a part exchanged",
)  # fmt: skip


def _proved(a: Asked, v: Verdict, row: Json, sheet_text: str) -> Json:
    """The row of a feed that holds with its proof; any other as it is."""
    if row["verdict"] != "holds":
        return row
    proof = write_proof(v, sheet_text, a.circuit, a.feed)
    return {**row, "proof": proof, "proof_sha256": sha256(proof)}


def _as_it_stands(sheet: Sheet, names: Sequence[str]) -> Sheet:
    return replace(sheet, circuit=with_fitted(sheet.circuit, names)) if names else sheet


def _names(said: str) -> list[str]:
    """`--restore A,B`: several names in one word."""
    return [n.strip() for n in said.split(",") if n.strip()]


def _doubt(a: Asked, v: Verdict, row: Json, living: Alive | None) -> Json:
    if living is None:
        return row
    return doubted(a.circuit, a.feed, v, living, row)


__all__: Sequence[str] = ("FeedOptions", "feed")
