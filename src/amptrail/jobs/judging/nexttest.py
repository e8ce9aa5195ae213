"""`next`: the visits worth their minutes, from where the person is with what they have today."""

from __future__ import annotations

import math
import time

import numpy as np

from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.supply import nominal_v
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.judging.bypasses import WHY
from amptrail.jobs.judging.described import described
from amptrail.jobs.judging.desk import Desk, NextOptions, desk
from amptrail.jobs.judging.offers import in_hand
from amptrail.jobs.judging.outcomes import SLIP
from amptrail.jobs.judging.proofsheet import to_prove
from amptrail.jobs.judging.provoking import wait_min
from amptrail.jobs.judging.suspects import estimated, judge
from amptrail.jobs.judging.telling import telling
from amptrail.jobs.judging.twins import lent
from amptrail.jobs.judging.variants import named
from amptrail.plan.decide import Advice, Visit

OUT_OF_TIME = 3  # exit status: the time given by --budget-ms ran out (the object is still complete)
TELLS_NOTHING_BITS = 0.02
# as likely as a slip of the hand, or as seeing what is not there: it does not explain what was found
SLIP_TIMES, MOST_SLIP = 2.0, 0.15
INSTRUMENT_FIRST = 0.5  # likelier wrong than right: nothing is believed before it is tried
INSTRUMENT_SAYS = (
    "the instrument or its lead is probably wrong: read the battery with it before anything else"
)
NOTHING_LEFT = "what explains it is repaired already: try again what failed"
USUAL = NextOptions()
TRIAL_WHY = {
    "unplug": "reading it again with that parted",
    "swap": "with a like relay in its place",
    "repair": "the repair is cheaper than another test; fit and see",
}


def _why(d: Desk, a: Advice) -> str:
    if a.repair_bits < TELLS_NOTHING_BITS:
        return "separates nothing that would change the repair"
    test = d.panel.tests[a.test]
    trial = WHY.get(test.how) if test.action == "bypass" else TRIAL_WHY.get(test.action)
    tail = f", {a.minutes.total:.1f} min" + (f" ({trial})" if trial else "")
    if a.separates is None:
        return f"narrows what is left{tail}"
    first, second = (estimated(d.judgement, d.panel.live.index[i])[0] for i in a.separates)
    return f"separates {first} from {second}{tail}"


def _outcomes(d: Desk, a: Advice) -> list[Json]:
    """What may be found, and who is left by it: none of those whom only a slip of the hand brings there."""
    c = d.classes[a.test]
    rows = []
    for o in sorted(a.outcomes, key=lambda o: -o.probability):
        told_in_words = not np.isfinite(c.low[o.klass])
        floor = float(c.chance[:, o.klass].min()) if told_in_words else SLIP / len(c.words)
        slip = min(SLIP_TIMES * floor, MOST_SLIP)
        low, high = float(c.low[o.klass]), float(c.high[o.klass])
        numbers = np.isfinite(low) and np.isfinite(high)
        rows.append(
            {
                "words": c.words[o.klass],
                "low": low if numbers else None,
                "high": high if numbers else None,
                "probability": o.probability,
                "leaves": [
                    {"text": estimated(d.judgement, d.panel.live.index[h])[0], "probability": p}
                    for h, p in o.leaves
                    if c.chance[h, o.klass] > slip
                ],
            }
        )
    return rows


def _test(d: Desk, a: Advice, rank: int) -> Json:
    setup, measure = d.minutes_own[a.test]
    twin = lent(d.judgement.circuit, d.judgement.seen.all, d.panel.tests[a.test])
    return {
        "rank": rank,
        **described(d, a.test),
        "minutes_min": {
            "move": a.minutes.move,
            "open": a.minutes.open,
            "setup": setup,
            "measure": measure,
            "phase": a.minutes.phase,
            "total": a.minutes.total,
        },
        "bits": a.bits,
        "repair_bits": a.repair_bits,
        "score": a.score,
        "outcomes": _outcomes(d, a),
        "why": _why(d, a) + (f"; {twin['words']}" if twin else ""),
        "twin": twin,
    }


def _waited_at_once(d: Desk, v: Visit) -> float:
    """Minutes of waiting for a fault that comes and goes that one wait serves: all leads are on by then."""
    waiting = sum(d.panel.tests[a.test].failing for a in v.tests)
    return max(waiting - 1, 0) * wait_min(d.judgement.seen.words)


def _stop(d: Desk) -> Json:
    """When nothing in the drawing explains the evidence, no repair is proposed, whatever ranks first."""
    stop, unexplained = d.plan.stop, d.judgement.post.unexplained
    is_so, reason = stop.is_so, stop.reason
    if float(d.judgement.post.spoiled.sum()) > INSTRUMENT_FIRST:
        return {"is": False, "reason": INSTRUMENT_SAYS, "wrong_cost_min": stop.wrong_cost_min}
    first = d.judgement.post.ranking()[0]
    if is_so and not d.judgement.to_repair(first):
        reason = NOTHING_LEFT
    if unexplained.is_so:
        is_so = is_so and reason.startswith("no allowed test")
        reason = (
            f"nothing in this drawing explains line {unexplained.worst_line}: check it and the drawing first"
        )
    return {"is": is_so, "reason": reason, "wrong_cost_min": stop.wrong_cost_min}


def next_answer(j: Judgement, o: NextOptions, until_s: float = math.inf) -> Json:
    """The body of the answer for a judgement already made."""
    d = desk(j, o, until_s)
    visits: list[Json] = []
    for v in d.plan.visits:
        tests = [_test(d, a, n + 1) for n, a in enumerate(v.tests)]
        visits.append(
            {
                "rank": len(visits) + 1,
                "place": d.places[v.place],
                "phase": drive_cycle(j.circuit)[v.phase].name,
                "minutes_min": v.minutes - _waited_at_once(d, v),
                "tests": tests,
            }
        )
    return {
        "visits": visits,
        "stop": _stop(d),
        "expected_min": d.plan.expected_min,
        "p80_min": d.plan.p80_min,
        "bound_min": d.plan.bound_min,
        "groups": d.plan.groups,
        "exact": d.plan.exact,
        "drawings": named(j),
        "tells_drawings": telling(d),
        "to_prove": to_prove(j.leading) if time.monotonic() < until_s else None,
        "refused": _refused(j),
    }


def _refused(j: Judgement) -> list[Json]:
    """What is never offered: points that must not be probed, and a lamp that the vehicle would burn out."""
    rows: list[Json] = [
        {"line": str(n.at), "reason": n.text or "marked as not to be probed", "use_instead": None}
        for n in j.circuit.never_probe
    ]
    if not in_hand(j.circuit, ("lamp",), j.own):
        volts = nominal_v(j.circuit)
        mine = f'my lamp "{volts:g} V 5 W"'
        said = f"this lamp burns out on {volts:g} V; tell of one that does not, such as {mine}"
        rows.append({"line": "lamp", "reason": said, "use_instead": "meter"})
    return rows


def next_tests(sheet_text: str, readings_text: str, options: NextOptions = USUAL) -> Json:
    """What to test next, and what each outcome would leave (docs/json.md, next)."""
    sheet = load(sheet_text)
    until_s = math.inf if options.budget_ms is None else time.monotonic() + options.budget_ms / 1000
    j = judge(sheet.circuit, readings_text, options.doubles, until_s, options.history, options.own)
    body = {**next_answer(j, options, until_s), "own_instruments": j.own.as_data()}
    late = time.monotonic() > until_s
    return answer("next", sheet, body, problems=j.problems, exit_status=OUT_OF_TIME if late else 0)


__all__ = ["OUT_OF_TIME", "NextOptions", "next_answer", "next_tests"]
