"""What a look at a part finds: what its own faults show there, and of a fuse what currents have done to it.

A fuse that a short has blown looks as blown as one that is the fault itself; an empty slot is no blown fuse,
and what was pulled out for a reading was in its slot.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, key
from amptrail.faults import Hypothesis as Cause
from amptrail.jobs.solved.acting import left
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import THERE

Array = NDArray[np.float64]
SEEN_FALSE, SEEN_UNSAID = 0.03, 0.05  # imagined; a fault that shows nothing (common practice)
PULLED_BY_ROTE = 0.2  # `with K4 out` written of an empty slot: the line was filled in as it was asked for
SEEN_BLOWN = 0.9  # as priors.csv has it of a fuse that is open
LOOKS_FINE = ("fine", "clean", "ok", "good", "right")
AWAY = ("missing", "empty", "absent")
FUSES = ("fuse", "link")
SLOTTED = (*FUSES, "relay")  # their slot may be empty


def chance(
    circuit: Circuit, part: str, word: str, causes: Sequence[tuple[Cause, ...]], standing: Conditions,
    blown: NDArray[np.bool_],
) -> Array:  # fmt: skip
    """P(word) of a look, per lane. `causes`: those of each lane; `standing`: what was renewed by then;
    `blown`: where a current has opened it."""
    bad = np.asarray([_seen(c, part, standing) for c in causes], np.float64)
    kind = next((p.kind for p in circuit.parts if key(p.name) == key(part)), "")
    away = np.asarray([_away(c, part, standing) for c in causes], bool)
    if word == THERE:
        return np.where(away, PULLED_BY_ROTE, 1.0)
    if kind in FUSES:
        bad = np.where(blown, np.maximum(bad, SEEN_BLOWN), bad)
    if kind in SLOTTED:
        if word in AWAY:
            return np.where(away, bad, SEEN_FALSE)
        if word not in LOOKS_FINE:
            return np.where(away, SEEN_FALSE, bad)
    return np.asarray(1 - bad if word in LOOKS_FINE else bad, np.float64)


def words(kind: str) -> tuple[tuple[str, str], ...]:
    """What may be found at a part of this kind, as it is written and meant; the bad ones first."""
    bad = "blown" if kind in FUSES else "bad"
    found = (bad, "missing", "fine") if kind in SLOTTED else (bad, "fine")
    return tuple((w, w) for w in found)


def _seen(causes: Sequence[Cause], part: str, standing: Conditions) -> float:
    """Chance that something bad is found at the part, from what each cause that is still there shows."""
    missed, blamed = 1.0, False
    for c in causes:
        if any(key(f.at.part) == key(part) for f in left(c.faults, standing)):
            blamed = True
            missed *= 1 - max((x.hit for x in c.looks), default=SEEN_UNSAID)
    return max(1 - missed, SEEN_FALSE) if blamed else SEEN_FALSE


def _away(causes: Sequence[Cause], part: str, standing: Conditions) -> bool:
    there = [f for c in causes for f in left(c.faults, standing)]
    return any(f.mode == "missing" and key(f.at.part) == key(part) for f in there)
