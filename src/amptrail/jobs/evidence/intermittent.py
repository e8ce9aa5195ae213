"""Faults that come and go, kept beside the steady ones when the evidence speaks of them.

A good reading taken while the vehicle works never clears such a fault, and 7 of 10 tries is one reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Hypothesis, Posterior, Table
from amptrail.belief.chance import any_share_log_likelihood
from amptrail.circuit.model import Circuit
from amptrail.jobs.evidence import moving
from amptrail.jobs.evidence.predict import Evidence, Suspect
from amptrail.jobs.evidence.renewed import weighed
from amptrail.jobs.solved.acting import left
from amptrail.jobs.solved.observe import Observation

Array = NDArray[np.float64]
SHOWS = 0.5  # chance that it shows at a random try, as long as nobody counted (common practice)
MAKES_AND_BREAKS = 0.3  # chance that it does so under one's eyes, so that a figure alternates (the same)
MOST = 60  # the likeliest that come and go


def told(seen: Evidence) -> bool:
    """Whether a line speaks of a fault that comes and goes: while working or failing, 7 of 10 tries, a jump
    when something is moved, a figure that goes up and down."""
    return any(o.showing != "unknown" or _counted(o) or o.comes_and_goes or _jumps(o) for o in seen.all)


def _jumps(o: Observation) -> bool:
    return o.kind == "alternates" or (o.kind == "moved" and o.word == moving.JUMPS)


def _counted(o: Observation) -> bool:
    return o.good_of is not None and 0 < o.good_of[0] < o.good_of[1]


def _hope(post: Posterior) -> Array:
    """How well each hypothesis would do if every reading came from its better state, roughly, nats."""
    well = post.scored[0]
    z_well, words_well = np.abs(well.numbers.alone[0]), well.words[0]
    out = np.full(len(post.scored), -np.inf)
    for h, s in enumerate(post.scored):
        numbers = -0.5 * np.minimum(np.abs(s.numbers.alone), z_well) ** 2
        words = np.maximum(s.words, words_well)
        out[h] = float((numbers.sum(axis=1) + words.sum(axis=1) + s.log_weight).max())
    return out


def with_those_that_come_and_go(
    circuit: Circuit, t: Table, suspects: Sequence[Suspect], seen: Evidence, post: Posterior
) -> tuple[Table, tuple[Suspect, ...]]:
    """The table and its suspects with an intermittent twin of the likeliest; the pair shares the prior."""
    hope = _hope(post) + np.log(np.maximum([h.prior for h in t.hypotheses], 1e-300))
    hope += [sum(_moved(circuit, s, o) for o in seen.words if o.kind == "moved") for s in suspects]
    order = [int(i) for i in np.argsort(-hope, kind="stable")]
    share = {h: max((c.intermittent for c in suspects[h].causes), default=0.0) for h in order}
    chosen = [h for h in order if share[h] > 0][:MOST]
    steady = list(t.hypotheses)
    twins: list[Hypothesis] = []
    tried = _at_a_try(circuit, [suspects[0], *(suspects[h] for h in chosen)], seen)
    for n, h in enumerate(chosen):
        q, was = share[h], t.hypotheses[h]
        steady[h] = replace(was, prior=was.prior * (1 - q))
        words = _counts(was, suspects[h], seen, tried[n + 1], tried[0])
        told = replace(was.prediction, words=_as_it_jumps(circuit, words, suspects[h], seen))
        twins.append(replace(was, key=f"{was.key} (comes and goes)", prior=was.prior * q, showing=SHOWS,
                             prediction=told))  # fmt: skip
    return replace(t, hypotheses=(*steady, *twins)), (*suspects, *(suspects[h] for h in chosen))


def _at_a_try(circuit: Circuit, suspects: Sequence[Suspect], seen: Evidence) -> list[Array | None]:
    """Chance that one try works, by suspect: a row for each severity, a column for each count."""
    once = tuple(replace(o, good_of=None, word="works") for o in seen.words if _counted(o))
    if not once:
        return [None for _ in suspects]
    table = weighed(circuit, suspects, Evidence((), once))
    return [None if (w := h.prediction.words) is None else np.exp(w) for h in table.hypotheses]


def _counts(
    h: Hypothesis, s: Suspect, seen: Evidence, shown: Array | None, sound: Array | None
) -> Array | None:
    """Word columns with every count weighed over all shares of tries at which the fault might show; one
    counted with the part renewed is of a sound vehicle."""
    if h.prediction.words is None:
        return None
    words = h.prediction.words.copy()
    counts = [k for k, o in enumerate(seen.words) if _counted(o)]
    for n, k in enumerate(counts):
        o = seen.words[k]
        there = all(len(left(c.faults, o.conditions)) == len(c.faults) for c in s.causes)
        if o.good_of is not None and there and shown is not None and sound is not None:
            words[:, k] = any_share_log_likelihood(*o.good_of, shown[:, n], float(sound[0, n]))
    return words


def _moved(circuit: Circuit, s: Suspect, o: Observation) -> float:
    """Natural-log chance of what happened when something was moved, if this comes and goes."""
    return float(np.log(moving.moved(circuit, o.part or "", o.word, s.causes, o.conditions)))


def _as_it_jumps(circuit: Circuit, words: Array | None, s: Suspect, seen: Evidence) -> Array | None:
    """Word columns with what was moved weighed by where this lies, and what goes up and down by itself."""
    for k, o in enumerate(seen.words):
        if words is not None and o.kind == "moved":
            words[:, k] = _moved(circuit, s, o)
        if words is not None and o.kind == "alternates":
            words[:, k] = np.maximum(words[:, k], np.log(MAKES_AND_BREAKS))
    return words
