"""Which faults act under standing conditions: a new part cures some, a part that is out takes some along."""

from __future__ import annotations

from collections.abc import Sequence

from amptrail.circuit.model import TOUCHES, Circuit, Fault, key
from amptrail.jobs.solved.conditions import Conditions

Faults = tuple[Fault, ...]


def curable(f: Fault) -> bool:
    """Whether a good part in place of a suspected one takes the fault away (a chafed wire stays)."""
    return f.mode not in TOUCHES


def cured(f: Fault, renewed: Sequence[str]) -> bool:
    """Whether these parts being new, or these metals mended (`W5.out`), take the fault away."""
    return key(f.at.part if curable(f) else str(f.at)) in {key(x) for x in renewed}


def left(faults: Faults, c: Conditions) -> Faults:
    """The faults that are there under these conditions: a good part standing in has none, one that was
    renewed those which the new one has too."""
    return tuple(f for f in faults if not cured(f, c.replaced) and (f.stays or not cured(f, c.renewed)))


def _taken_along(circuit: Circuit, f: Fault, away: set[str]) -> bool:
    """Whether a part that is unplugged or taken out takes this short with it: one inside a load, a sensor or
    a switch of several positions. A bridge at a relay is in its socket, one over a simple switch on its
    wires, and a leak in a plug stays on its side."""
    if f.mode != "to_point" or f.to is None or key(f.to.part) != key(f.at.part) or key(f.at.part) not in away:
        return False
    part = next(p for p in circuit.parts if key(p.name) == key(f.at.part))
    bare = part.kind == "switch" and not part.contacts
    return not bare and part.kind not in ("relay", "connector", "box", "splice", "ground", "module", "wire")


def acting(circuit: Circuit, faults: Faults, c: Conditions) -> Faults:
    """The faults that act under these conditions."""
    away = {key(x) for x in (*c.unplugged, *c.out, *c.pulled)}
    return tuple(f for f in left(faults, c) if not (away and _taken_along(circuit, f, away)))
