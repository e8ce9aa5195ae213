"""One test as others read it: what to do, where, with what, in which state, and what to mind."""

from __future__ import annotations

from amptrail.circuit.phases import drive_cycle
from amptrail.feed.danger import danger
from amptrail.jobs.base.context import Json
from amptrail.jobs.judging.cautions import cautions_for
from amptrail.jobs.judging.desk import Desk
from amptrail.jobs.judging.lines import condition_words, reading_line
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.judging.suspects import estimated
from amptrail.jobs.solved.feeds import find_feed

MOST_IN_DANGER = 12  # suspects whose current is worked out before a bypass


def described(d: Desk, k: int) -> Json:
    """Test `k` of the desk."""
    t, circuit = d.panel.tests[k], d.judgement.circuit
    return {
        "action": t.action,
        "line": reading_line(circuit, t),
        "point": t.said.part if t.said is not None else t.spot.name,
        "to": str(t.spot.b) if t.spot.b and t.said is None else None,
        "while": "failing" if t.failing else None,
        "watch": t.spot.name if t.said is not None and t.said.kind == "moved" else None,
        "instrument": t.instrument,
        "own": d.judgement.own.words(t.instrument) if t.said is None else None,
        "phase": drive_cycle(circuit)[t.phase].name,
        "with": condition_words(t.conditions),
        "how": t.how,
        "place": t.place,
        "cautions": [*_danger(d, t), *cautions_for(circuit, t, d.panel.disturbs[k])],
    }


def _danger(d: Desk, t: Candidate) -> tuple[str, ...]:
    """What a bypass may do under any suspect still alive, before it is fitted."""
    if t.conditions.feed is None:
        return ()
    alive = d.panel.live
    rows = zip(alive.index, alive.rows, strict=True)
    suspects = tuple((estimated(d.judgement, h)[0], faults[1]) for h, faults in rows)
    circuit, out = d.judgement.circuit, t.conditions.out
    bypass = find_feed(circuit, t.conditions.feed)
    return danger(circuit, bypass, suspects[:MOST_IN_DANGER], t.phase, out).sentences
