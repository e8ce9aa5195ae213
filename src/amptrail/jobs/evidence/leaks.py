"""Leaks between wires that share no plug on the drawing: looked for when nothing drawn explains the evidence.

The drawing does not say which wires lie side by side, so every run of wire beside a run that read abnormal is
a candidate, each with a small prior.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from amptrail.belief import Posterior
from amptrail.circuit.model import BODY, Circuit, Fault, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.faults import Hypothesis
from amptrail.jobs.evidence.predict import DOUBLE_POINTS, Evidence, Suspect, single
from amptrail.jobs.evidence.words import function_of
from amptrail.jobs.solved.forbidden import runs
from amptrail.jobs.solved.observe import Observation
from amptrail.reference.priors import SINGLES_TOTAL

SHARE = 0.03  # of all causes, spread over the pairs (common practice; 0 of 37 classified stories)
SEVERITY_OHM = (0.05, 10_000.0)
ABNORMAL_SIGMAS = 4.0
MOST_RUNS, MOST_PAIRS = 4, 120


def _abnormal(circuit: Circuit, seen: Evidence, post: Posterior) -> list[Term]:
    """Metals where something read, or a function told, is not as on a sound vehicle; the worst first."""
    well = post.scored[0]
    found: list[tuple[float, Term]] = []
    for z, o in zip(np.abs(well.numbers.alone[0]), seen.numbers, strict=True):
        if z > ABNORMAL_SIGMAS and o.spot is not None and o.spot.what == "volts":
            found.append((float(z), o.spot.a))
    for log_p, o in zip(well.words[0], seen.words, strict=True):
        at = _said_at(circuit, o)
        if log_p < -2.0 and at is not None:
            found.append((-float(log_p), at))
    return [t for _, t in sorted(found, key=lambda x: -x[0])]


def _said_at(circuit: Circuit, o: Observation) -> Term | None:
    must = function_of(circuit, o.part or "")
    if must is not None and must.a is not None:
        return must.a
    kinds = {key(p.name): p.kind for p in circuit.parts}
    return Term(o.part, "in") if o.part and kinds.get(key(o.part)) in ("lamp", "led", "motor") else None


def _pairs(circuit: Circuit, at: list[Term]) -> Iterator[tuple[Term, Term]]:
    w, run = wiring(circuit), runs(circuit)
    posts = [Term(p.name, t) for p in circuit.parts if p.kind == "battery" for t in "+-"]
    never = {run[n] for n in (w.node(t) for t in (*posts, BODY)) if n is not None}
    first: dict[int, Term] = {}
    for n, term in enumerate(w.names):
        first.setdefault(run[n], term)
    done: set[tuple[int, int]] = set()
    mine = list(
        dict.fromkeys(run[n] for n in (w.node(t) for t in at) if n is not None and run[n] not in never)
    )
    for a in mine[:MOST_RUNS]:
        for b in first:
            pair = (min(a, b), max(a, b))
            if b not in never and a != b and pair not in done:
                done.add(pair)
                yield first[a], first[b]


def leaks(circuit: Circuit, seen: Evidence, post: Posterior) -> list[Suspect]:
    """A suspect for every pair of runs that might touch; empty when nothing abnormal was read."""
    found = list(_pairs(circuit, _abnormal(circuit, seen, post)))[:MOST_PAIRS]
    each = SHARE * SINGLES_TOTAL / max(len(found), 1)
    return [single(_cause(a, b, each), DOUBLE_POINTS * 2 - 1) for a, b in found]


def _cause(a: Term, b: Term, prior: float) -> Hypothesis:
    return Hypothesis(
        f"{a}>{b}:leak", (Fault("to_point", a, b),), prior, f"leak {a} {b}",
        f"find where the wires of {a} and {b} lie side by side, and part them", 40.0, SEVERITY_OHM, 0.4,
        share_class="shorts", part=a.part,
    )  # fmt: skip
