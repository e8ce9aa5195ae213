"""Of several drawings carried together: the test that tells which of them the vehicle was built by."""

from __future__ import annotations

import numpy as np

from amptrail.jobs.base.context import Json
from amptrail.jobs.judging.described import described
from amptrail.jobs.judging.desk import Desk
from amptrail.jobs.solved.drawings import drawings
from amptrail.plan.score import group_bits

SETTLED = 0.97  # so sure of one drawing no test is spent on it
TELLS_BITS = 0.05


def telling(d: Desk) -> Json | None:
    """The test that tells the drawings apart at the fewest minutes, and what each outcome would leave of
    them; None where one is all but certain or nothing tells."""
    j, p = d.judgement, d.problem
    shares = j.by_drawing
    if not shares or max(shares) > SETTLED or not d.panel.tests:
        return None
    label = np.asarray([j.drawn_by[h] for h in d.panel.live.index], np.int64)
    belief = p.prior / p.prior.sum()
    info = group_bits(belief, label, p.tests.outcome)
    rate = np.where(info >= TELLS_BITS, info / p.prices(d.at), 0.0)
    best = int(rate.argmax())
    if rate[best] <= 0:
        return None
    classes = d.classes[best]
    names = [x.name for x in drawings(j.circuit)]
    chance = belief[:, None] * p.tests.outcome[:, best, : len(classes.words)]
    outcomes = [
        {
            "words": words,
            "probability": float(chance[:, c].sum()),
            "drawings": [
                {"name": n, "probability": float(chance[label == k, c].sum() / chance[:, c].sum())}
                for k, n in enumerate(names)
            ],
        }
        for c, words in enumerate(classes.words)
        if chance[:, c].sum() > 1e-9
    ]
    return {
        **described(d, best),
        "bits": float(info[best]),
        "outcomes": sorted(outcomes, key=lambda o: -float(o["probability"])),
    }
