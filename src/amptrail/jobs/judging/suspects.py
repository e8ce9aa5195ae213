"""`suspects`: what still fits the readings, how severe it is, and what each reading ruled out."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from amptrail.belief import Posterior, Table, contributions, posterior
from amptrail.circuit.model import Circuit
from amptrail.errors import InputError, one
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.faultnames import fault_json
from amptrail.jobs.base.kept import MEBIBYTE, Kept
from amptrail.jobs.evidence import intermittent
from amptrail.jobs.evidence.beforehand import beforehand, raised
from amptrail.jobs.evidence.boundaries import refined
from amptrail.jobs.evidence.doubles import explained, promising
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.instrument import instrument_rows, ranked, with_instruments
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.leaks import leaks
from amptrail.jobs.evidence.parted import in_both_halves
from amptrail.jobs.evidence.predict import Evidence, Suspect, evidence, with_severity
from amptrail.jobs.evidence.renewed import weighed, with_new_ones
from amptrail.jobs.judging import groups
from amptrail.jobs.judging.asdrawn import as_drawn
from amptrail.jobs.judging.drawn import TWO, drawn_elsewhere, needs_two
from amptrail.jobs.judging.variants import joined, named, only_on
from amptrail.jobs.solved.acting import curable
from amptrail.jobs.solved.drawings import drawings
from amptrail.jobs.solved.observe import observations
from amptrail.jobs.solved.own import STANDARD, Own, in_hand
from amptrail.sheet import fault_text

MOST_FIGURES = 200  # their covariances are held for every suspect at once
TRY_AGAIN = "repaired already: {}; try again what failed"
LISTED_LEAST = 1e-3  # an instrument less likely wrong is not spoken of


@dataclass(frozen=True)
class SuspectOptions:
    """Options of the contract: how many to list; doubles auto, off or all; seed (same seed, same bytes);
    what earlier jobs taught."""

    top: int = 10
    doubles: str = "auto"
    seed: int = 0
    history: History = NONE
    own: Own = STANDARD


def _needs_doubles(post: Posterior) -> bool:
    return post.unexplained.is_so or post.doubtful is not None or post.unexplained.p_value < 0.05


JUDGED: Kept[Judgement] = Kept(384 * MEBIBYTE, lambda j: j.post.nbytes)


def judge(
    circuit: Circuit, readings_text: str, doubles: str = "auto", until_s: float = math.inf,
    history: History = NONE, own: Own = STANDARD,
) -> Judgement:  # fmt: skip
    """`weigh`, kept: `suspects` and `next` of the same readings weigh them once."""
    asked = (circuit, readings_text, doubles, history, own)
    known = JUDGED.get(asked)
    if known is not None:
        return known
    got = weigh(circuit, readings_text, doubles, until_s, history, own)
    return got if time.monotonic() >= until_s else JUDGED.put(asked, got)


def _bearable(seen: Evidence) -> Evidence:
    """The same, unless it is more than can be held."""
    if len(seen.numbers) > MOST_FIGURES:
        said = f"{len(seen.numbers)} figures are read here; {MOST_FIGURES} is the most that is weighed"
        remedy = "keep those that tell something; for a recording: amptrail recording FILE"
        raise one("too-many", said, line=seen.numbers[MOST_FIGURES].line, remedy=remedy)
    return seen


def weigh(
    circuit: Circuit, readings_text: str, doubles: str, until_s: float, history: History = NONE,
    own: Own = STANDARD,
) -> Judgement:  # fmt: skip
    """Weigh every single fault, and pairs where singles do not explain, by the readings; of a sheet with
    variants by each drawing. Pairs are left out when the clock (`time.monotonic`) has passed `until_s` by
    then. `own`: the instruments of who asks, beside what the readings say of them."""
    of = drawings(circuit)
    try:
        each = [_weighed(d.circuit, readings_text, doubles, until_s, history, own) for d in of]
    except InputError as e:
        raise only_on(of, readings_text, e) from None
    return each[0] if len(of) == 1 else joined(circuit, of, each)


def _weighed(
    circuit: Circuit, readings_text: str, doubles: str, until_s: float, history: History, own: Own
) -> Judgement:
    """By one drawing."""
    heard = observations(circuit, readings_text, own)
    seen = _bearable(evidence((*heard.used, *heard.there)))
    base = in_both_halves(circuit, beforehand(circuit, heard.worked, history), seen)
    only = weighed(circuit, base, seen, 0, keep=True)
    alone = posterior(only)
    t, post, everyone, pairs = only, alone, base, 0
    comes_and_goes = intermittent.told(seen)
    if seen.all and comes_and_goes:
        t, everyone = intermittent.with_those_that_come_and_go(circuit, only, base, seen, alone)
        post = posterior(t)
    if seen.all and heard.renewed:
        t, post, everyone = _added(circuit, seen, t, post, everyone, with_new_ones(base, heard.renewed))
    wanted = doubles == "all"
    if doubles == "auto" and seen.all:
        wanted = _needs_doubles(post) or promising(base, only, alone)
    if seen.all and wanted and time.monotonic() < until_s:
        found = explained(circuit, base, only, alone, doubles == "all", seen, t)
        t, pairs = found.table, found.weighed
        if found.pairs:
            post, everyone = posterior(t), everyone + found.pairs
    if seen.all and post.unexplained.is_so and time.monotonic() < until_s:
        t, post, everyone = _added(circuit, seen, t, post, everyone, leaks(circuit, seen, post))
    if seen.all and post.unexplained.is_so and not comes_and_goes and time.monotonic() < until_s:
        t, everyone = intermittent.with_those_that_come_and_go(circuit, t, everyone, seen, post)
        post = posterior(t)
    if seen.all and not comes_and_goes and time.monotonic() < until_s:
        t, everyone, post = refined(circuit, t, everyone, seen, post)
    if seen.numbers and time.monotonic() < until_s:
        t, post = with_instruments(t, seen, post)
    hand = in_hand(readings_text, own)
    return Judgement(
        circuit, everyone, seen, heard.ignored, (*heard.problems, *as_drawn(circuit)), post, heard.worked,
        history, hand,
        heard.renewed, pairs,
    )  # fmt: skip


def _added(
    circuit: Circuit,
    seen: Evidence,
    t: Table,
    post: Posterior,
    known: tuple[Suspect, ...],
    more: Sequence[Suspect],
) -> tuple[Table, Posterior, tuple[Suspect, ...]]:
    """The table with further suspects, and what is believed then."""
    if not more:
        return t, post, known
    both = weighed(circuit, more, seen)
    t = replace(t, hypotheses=t.hypotheses + both.hypotheses)
    return t, posterior(t), known + tuple(more)


# ---- the answer -------------------------------------------------------------------------------------
def estimated(j: Judgement, h: int) -> tuple[str, list[Json], Json | None]:
    """The words, fault objects and severity of a hypothesis at its estimated resistance."""
    s, severity = j.suspects[h], j.post.severity[h]
    ohms = [] if severity is None else [severity.ohm] + ([severity.other.ohm] if severity.other else [])
    faults = [f for c in s.causes for f in c.faults]
    told = with_severity(faults, [float(f"{x:.3g}") for x in ohms])
    circuit = j.circuit_of(h)
    text = fault_text(circuit, told) if told else "nothing is broken"
    shown = None if severity is None else {"ohm": severity.ohm, "low": severity.low, "high": severity.high}
    return text, [fault_json(circuit, f) for f in told], shown


def _ruled_by(j: Judgement) -> list[Json]:
    texts = {o.line: o.text for o in j.seen.all}
    rows = []
    for c in contributions(j.post)[: len(j.seen.all)]:
        out = [h for h in c.ruled_out if not _in_the_new_one(j, h)]
        gone = [estimated(j, h)[0] for h in out[:6]]
        rows.append({"line": c.line, "text": texts.get(c.line, ""), "ruled_out": gone, "count": len(out)})
    return rows


def _in_the_new_one(j: Judgement, h: int) -> bool:
    """Whether the suspect is that a new part has what the old one had."""
    return any(f.stays for c in j.suspects[h].causes for f in c.faults)


def _doubt(j: Judgement) -> Json | None:
    d = j.post.doubtful
    if d is None:
        return None
    at = d.index + (len(j.seen.numbers) if d.is_word else 0)
    less = contributions(j.post)[at].without
    top = [int(h) for h in np.argsort(-less, kind="stable")[:3] if less[h] > 0.01]
    return {
        "line": d.line,
        "probability": d.probability,
        "if_dropped": [{"text": estimated(j, h)[0], "probability": float(less[h])} for h in top],
    }


def _why(j: Judgement, h: int) -> str:
    """One line: the readings that speak most for this explanation against nothing being broken."""
    s = j.suspects[h]
    if not j.seen.all:
        return "no reading yet; how often such a fault happens here"
    if not s.causes[0].faults:
        return "every reading is what a healthy circuit gives"
    if any(f.stays for c in s.causes for f in c.faults):
        return "the new part is as bad as the old one, or was not fitted well"
    p, q = j.post.scored[h], j.post.scored[0]
    weight = np.exp(p.log_likelihood - p.log_likelihood.max())
    weight = weight / weight.sum()
    mine = np.concatenate(
        [weight @ np.abs(p.numbers.z), -(weight @ p.words) if p.words.size else np.zeros(0)]
    )
    base = np.concatenate([np.abs(q.numbers.z[0]), -q.words[0] if q.words.size else np.zeros(0)])
    order = np.argsort(-(base - mine), kind="stable")[:2]
    lines = [j.seen.all[int(i)].text for i in order if base[int(i)] - mine[int(i)] > 0.5]
    return "explains: " + "; ".join(lines) if lines else "does not contradict what was read"


def _drawn(j: Judgement, h: int) -> str | None:
    """What the drawing would have wrong to read just so."""
    severity = j.post.severity[h]
    return drawn_elsewhere(j.circuit_of(h), j.suspects[h].causes, severity.ohm if severity else None)


def _equivalent(j: Judgement, members: Sequence[int], first: str) -> list[str]:
    """Texts of the others of a group, each once (a fault and the same coming and going are one)."""
    by_key: dict[str, str] = {}
    for m in members:
        s = j.suspects[m]
        if s.causes[0].faults and s.key != first:
            by_key.setdefault(s.key, estimated(j, m)[0])
    return list(dict.fromkeys(by_key.values()))


def _renewed(j: Judgement, h: int) -> list[str]:
    """Parts of a suspect that are new already, and points mended where they touched."""
    every = [f for c in j.suspects[h].causes for f in c.faults]
    return list(dict.fromkeys(f.at.part if curable(f) else str(f.at) for f in every if not j.now((f,))))


def _listed(j: Judgement, top: int) -> tuple[list[Json], float]:
    merged = groups.merge(j)
    rows: list[Json] = []
    for g in merged[:top]:
        h = g.members[0]
        text, objects, severity = estimated(j, h)
        left, done = j.to_repair(h), _renewed(j, h)
        repair = "; ".join(dict.fromkeys(c.repair for c in left if c.repair))
        rows.append(
            {
                "rank": 0,
                "faults": objects,
                "text": text,
                "words": groups.said(j, g.members, text),
                "probability": g.probability,
                "severity": severity,
                "repair": repair if left else TRY_AGAIN.format(", ".join(done)),
                "repair_minutes": float(sum(c.repair_minutes for c in left)),
                "equivalent": [x for x in _equivalent(j, g.members[1:], j.suspects[h].key) if x != text],
                "renewed": done,
                "why": _why(j, h),
                "drawn": _drawn(j, h),
            }
        )
    return ranked(rows + instrument_rows(j, LISTED_LEAST), top)


def _sound(j: Judgement) -> float:
    """That nothing is broken, by whichever drawing."""
    if not j.each:
        return j.post.nothing_broken
    sound = (float(p) for p, s in zip(j.post.probability, j.suspects, strict=True) if not s.causes[0].faults)
    return sum(sound)


def suspects_answer(j: Judgement, sheet_sha: Json, options: SuspectOptions) -> Json:
    """The body of the answer for a judgement already made."""
    rows, rest = _listed(j, options.top)
    unexplained = j.post.unexplained
    two = not unexplained.is_so and needs_two(j)
    return {
        "suspects": rows,
        "rest": rest,
        "nothing_broken": _sound(j),
        "not_as_drawn": j.post.undrawn,
        "drawings": named(j),
        "unexplained": {
            "is": unexplained.is_so,
            "p_value": unexplained.p_value,
            "worst_line": unexplained.worst_line,
        },
        "one_cause": {"explains": not two, "words": TWO if two else ""},
        "doubtful_reading": _doubt(j),
        "readings_used": len({o.line for o in j.seen.all}),
        "readings_ignored": [{"line": n, "reason": why} for n, why in j.ignored],
        "ruled_out_by": _ruled_by(j),
        "evidence_nats": j.post.evidence_nats,
        "doubles_considered": j.pairs_weighed,
        "raised": raised(j.circuit, j.worked, j.history),
        **sheet_sha,
    }


def suspects(sheet_text: str, readings_text: str, options: SuspectOptions = SuspectOptions()) -> Json:
    """Rank what still fits (docs/json.md, suspects)."""
    sheet = load(sheet_text)
    j = judge(sheet.circuit, readings_text, options.doubles, history=options.history, own=options.own)
    return answer("suspects", sheet, suspects_answer(j, {}, options), problems=j.problems)
