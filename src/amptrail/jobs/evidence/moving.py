"""Something is moved by hand and what is watched jumps, or stays: where a fault that comes and goes may lie.

A plug, wire or joint that is moved wakes a bad contact in it often, one beside it sometimes; anything else
hardly ever, and a steady fault or none as rarely as a probe slips.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.wiring import wiring
from amptrail.faults import Hypothesis as Cause
from amptrail.jobs.solved.acting import left
from amptrail.jobs.solved.conditions import Conditions

Array = NDArray[np.float64]
JUMPS, STAYS = "jumps", "stays"
AT, BESIDE, ELSEWHERE = 0.6, 0.2, 0.03  # chance that it jumps, by where the fault is (common practice)
FEW = 4  # parts on one metal; on a body or a rail of more, what is moved does not move the others


def moved(circuit: Circuit, part: str, word: str, causes: Sequence[Cause], standing: Conditions) -> float:
    """P(word) when `part` is moved, under faults that come and go."""
    there = {key(f.at.part) for c in causes for f in left(c.faults, standing)}
    chance = AT if key(part) in there else BESIDE if there & _beside(circuit, part) else ELSEWHERE
    return chance if word == JUMPS else 1 - chance


def steady(word: str) -> float:
    """P(word) when nothing comes and goes."""
    return ELSEWHERE if word == JUMPS else 1 - ELSEWHERE


def _beside(circuit: Circuit, part: str) -> set[str]:
    """Parts that share a metal with it."""
    w = wiring(circuit)
    by_metal: dict[int, set[str]] = {}
    for t in w.terms:
        n = w.node(t)
        if n is not None:
            by_metal.setdefault(n, set()).add(key(t.part))
    near = [mine for mine in by_metal.values() if key(part) in mine and len(mine) <= FEW]
    return set().union(*near) - {key(part)} if near else set()
