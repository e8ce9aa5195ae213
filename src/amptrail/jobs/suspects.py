"""`suspects`: what still fits the readings, how severe it is, and what each reading ruled out."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from amptrail.belief import Posterior, Table, contributions, pairs, posterior
from amptrail.circuit.model import Circuit
from amptrail.faults import NOTHING, catalogue
from amptrail.jobs import groups, intermittent
from amptrail.jobs.context import Json, answer, load
from amptrail.jobs.faultnames import fault_json
from amptrail.jobs.instrument import instrument_rows, ranked, with_instruments
from amptrail.jobs.judgement import Judgement
from amptrail.jobs.kept import Kept
from amptrail.jobs.leaks import leaks
from amptrail.jobs.observe import observations
from amptrail.jobs.predict import Evidence, Suspect, double, evidence, single, solve_all, table, with_severity
from amptrail.sheet import fault_text
from amptrail.solve.network import SPARE

LANES_FOR_DOUBLES = 12_000  # most lanes spent on pairs (about a second on two cores)
TELLING_SIGMAS = 1.0  # a fault that moves a reading by more is active (NUMERICS, Doubles)
BEST_SINGLES = 12
LISTED_LEAST = 1e-3  # an instrument less likely wrong is not spoken of


@dataclass(frozen=True)
class SuspectOptions:
    """Options of the contract: how many to list; doubles auto, off or all; seed (same seed, same bytes)."""

    top: int = 10
    doubles: str = "auto"
    seed: int = 0


@lru_cache(maxsize=32)
def singles(circuit: Circuit) -> tuple[Suspect, ...]:
    """Nothing broken first, then every cause of the catalogue, over its severities."""
    found = catalogue(circuit)
    nothing = [single(c) for c in found if c.id == NOTHING]
    return (*nothing, *(single(c) for c in found if c.id != NOTHING and c.faults))


def _active(t: Table, post: Posterior) -> np.ndarray:
    healthy = t.hypotheses[0].prediction
    sigma = np.asarray([r.sigma for r in t.readings])
    out = []
    for h in t.hypotheses:
        moved = np.abs(h.prediction.mean - healthy.mean[0])
        spread = (
            np.sqrt(sigma**2 + np.einsum("gii->gi", h.prediction.cov))
            if h.prediction.cov is not None
            else sigma
        )
        numbers = bool((moved > TELLING_SIGMAS * spread).any())
        said = h.prediction.words is not None and bool(
            (np.abs(h.prediction.words - healthy.words[0]) > 0.5).any()
            if healthy.words is not None
            else False
        )
        out.append(numbers or said)
    return np.asarray(out, bool)


def _lanes(s: Suspect) -> int:
    return len(s.rows)


def _doubles(base: Sequence[Suspect], t: Table, post: Posterior, budget: int | None) -> list[Suspect]:
    """Pairs that could explain the readings, likeliest beforehand first, within the lane budget."""
    live = _active(t, post)
    live[0] = False
    best = tuple(i for i in post.ranking() if i != 0)[:BEST_SINGLES]
    wanted = [(a, b) for a, b in pairs(live, best).solve if a != 0 and b != 0]
    hope = post.log_evidence
    wanted.sort(
        key=lambda ab: -(np.log(base[ab[0]].prior * base[ab[1]].prior) + max(hope[ab[0]], hope[ab[1]]))
    )
    out: list[Suspect] = []
    spent = 0
    for a, b in wanted:
        if set(_ats(base[a])) & set(_ats(base[b])):
            continue
        d = double(base[a].causes[0], base[b].causes[0])
        if _bridges(d) > SPARE:  # water in a plug beside two crossed pins: more than one vehicle can hold
            continue
        spent += _lanes(d)
        if budget is not None and spent > budget:
            break
        out.append(d)
    return out


BRIDGES = {"to_ground": 1, "to_supply": 1, "to_point": 1, "swapped": 2}  # as faults.overlay makes them


def _bridges(s: Suspect) -> int:
    """How many branches these causes add to a lane."""
    return sum(BRIDGES.get(f.mode, 0) for c in s.causes for f in c.faults)


def _ats(s: Suspect) -> list[str]:
    return [str(f.at) for c in s.causes for f in c.faults]


def _needs_doubles(post: Posterior) -> bool:
    return post.unexplained.is_so or post.doubtful is not None or post.unexplained.p_value < 0.05


JUDGED: Kept[Judgement] = Kept(16, lambda _: 1)


def judge(
    circuit: Circuit, readings_text: str, doubles: str = "auto", until_s: float = math.inf
) -> Judgement:
    """`weigh`, kept: `suspects` and `next` of the same readings weigh them once."""
    asked = (circuit, readings_text, doubles)
    known = JUDGED.get(asked)
    if known is not None:
        return known
    got = weigh(circuit, readings_text, doubles, until_s)
    return got if time.monotonic() >= until_s else JUDGED.put(asked, got)


def weigh(circuit: Circuit, readings_text: str, doubles: str, until_s: float) -> Judgement:
    """Weigh every single fault, and pairs where singles do not explain, by the readings. Pairs are left out
    when the clock (`time.monotonic`) has passed `until_s` by then."""
    heard = observations(circuit, readings_text)
    seen = evidence(heard.used)
    base = singles(circuit)
    only = table(circuit, base, seen, solve_all(circuit, base, seen), 0)
    alone = posterior(only)
    t, post, everyone = only, alone, base
    comes_and_goes = intermittent.told(seen)
    if seen.all and comes_and_goes:
        t, everyone = intermittent.with_those_that_come_and_go(only, base, seen, alone)
        post = posterior(t)
    wanted = doubles == "all" or (doubles == "auto" and _needs_doubles(post))
    if seen.all and wanted and time.monotonic() < until_s:
        budget = LANES_FOR_DOUBLES // len({o.conditions for o in seen.all})  # each set is solved by itself
        more = _doubles(base, only, alone, None if doubles == "all" else budget)
        t, post, everyone = _added(circuit, seen, t, post, everyone, more)
    if seen.all and post.unexplained.is_so and time.monotonic() < until_s:
        t, post, everyone = _added(circuit, seen, t, post, everyone, leaks(circuit, seen, post))
    if seen.all and post.unexplained.is_so and not comes_and_goes and time.monotonic() < until_s:
        t, everyone = intermittent.with_those_that_come_and_go(t, everyone, seen, post)
        post = posterior(t)
    if seen.numbers and time.monotonic() < until_s:
        t, post = with_instruments(t, seen, post)
    return Judgement(circuit, everyone, seen, heard.ignored, heard.problems, post)


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
    both = table(circuit, more, seen, solve_all(circuit, more, seen, keep=False), None)
    t = replace(t, hypotheses=t.hypotheses + both.hypotheses)
    return t, posterior(t), known + tuple(more)


# ---- the answer -------------------------------------------------------------------------------------
def estimated(j: Judgement, h: int) -> tuple[str, list[Json], Json | None]:
    """The words, fault objects and severity of a hypothesis at its estimated resistance."""
    s, severity = j.suspects[h], j.post.severity[h]
    ohms = [] if severity is None else [severity.ohm] + ([severity.other.ohm] if severity.other else [])
    faults = [f for c in s.causes for f in c.faults]
    told = with_severity(faults, [float(f"{x:.3g}") for x in ohms])
    text = fault_text(j.circuit, told) if told else "nothing is broken"
    shown = None if severity is None else {"ohm": severity.ohm, "low": severity.low, "high": severity.high}
    return text, [fault_json(j.circuit, f) for f in told], shown


def _ruled_by(j: Judgement) -> list[Json]:
    texts = {o.line: o.text for o in j.seen.all}
    rows = []
    for c in contributions(j.post)[: len(j.seen.all)]:
        gone = [estimated(j, h)[0] for h in c.ruled_out[:6]]
        rows.append(
            {"line": c.line, "text": texts.get(c.line, ""), "ruled_out": gone, "count": len(c.ruled_out)}
        )
    return rows


def _doubt(j: Judgement) -> Json | None:
    d = j.post.doubtful
    if d is None:
        return None
    t = j.post.table
    less = posterior(t.without(word=d.index) if d.is_word else t.without(reading=d.index))
    top = [h for h in less.ranking()[:3] if less.probability[h] > 0.01]
    return {
        "line": d.line,
        "probability": d.probability,
        "if_dropped": [{"text": estimated(j, h)[0], "probability": float(less.probability[h])} for h in top],
    }


def _why(j: Judgement, h: int) -> str:
    """One line: the readings that speak most for this explanation against nothing being broken."""
    s = j.suspects[h]
    if not j.seen.all:
        return "no reading yet; how often such a fault happens here"
    if not s.causes[0].faults:
        return "every reading is what a healthy circuit gives"
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


def _equivalent(j: Judgement, members: Sequence[int], first: str) -> list[str]:
    """Texts of the others of a group, each once (a fault and the same coming and going are one)."""
    by_key: dict[str, str] = {}
    for m in members:
        s = j.suspects[m]
        if s.causes[0].faults and s.key != first:
            by_key.setdefault(s.key, estimated(j, m)[0])
    return list(by_key.values())


def _listed(j: Judgement, top: int) -> tuple[list[Json], float]:
    merged = groups.merge(j)
    rows: list[Json] = []
    for g in merged[:top]:
        h = g.members[0]
        text, objects, severity = estimated(j, h)
        causes = j.suspects[h].causes
        rows.append(
            {
                "rank": 0,
                "faults": objects,
                "text": text,
                "probability": g.probability,
                "severity": severity,
                "repair": "; ".join(dict.fromkeys(c.repair for c in causes if c.repair)),
                "repair_minutes": float(sum(c.repair_minutes for c in causes)),
                "equivalent": _equivalent(j, g.members[1:], j.suspects[h].key),
                "why": _why(j, h),
            }
        )
    return ranked(rows + instrument_rows(j, LISTED_LEAST), top)


def suspects_answer(j: Judgement, sheet_sha: Json, options: SuspectOptions) -> Json:
    """The body of the answer for a judgement already made."""
    rows, rest = _listed(j, options.top)
    unexplained = j.post.unexplained
    return {
        "suspects": rows,
        "rest": rest,
        "nothing_broken": j.post.nothing_broken,
        "not_as_drawn": j.post.undrawn,
        "unexplained": {
            "is": unexplained.is_so,
            "p_value": unexplained.p_value,
            "worst_line": unexplained.worst_line,
        },
        "doubtful_reading": _doubt(j),
        "readings_used": len(j.seen.all),
        "readings_ignored": [{"line": n, "reason": why} for n, why in j.ignored],
        "ruled_out_by": _ruled_by(j),
        "evidence_nats": j.post.evidence_nats,
        "doubles_considered": sum(len(s.causes) > 1 for s in j.suspects),
        **sheet_sha,
    }


def suspects(sheet_text: str, readings_text: str, options: SuspectOptions = SuspectOptions()) -> Json:
    """Rank what still fits (docs/json.md, suspects)."""
    sheet = load(sheet_text)
    j = judge(sheet.circuit, readings_text, options.doubles)
    return answer("suspects", sheet, suspects_answer(j, {}, options), problems=j.problems)
