"""Does the vehicle do as drawn, with nothing broken, what its own sheet says it must?

A sheet whose sound vehicle blows a fuse or never starts makes every reading look like a fault, or none: said
before anything is ranked by it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from amptrail.circuit.model import Circuit, Must, Term
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.errors import Problem
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.predicted import Solved
from amptrail.jobs.solved.reach import reasons
from amptrail.jobs.solved.spots import battery_minus
from amptrail.solve.settle import CHATTER, NOT_CONVERGED

MOST_SAID = 4  # one slip breaks many lines: the first few tell it
FED_V = 1.0  # below this a load is not fed (common practice)
REMEDY = "check the figures of its fuse, relay and wires, and the limit, before anything is read by it"


def _wrong(circuit: Circuit, got: Solved, must: Must, phase: int) -> str | None:
    """What a function gives in a phase against what the sheet says it must; None: as it should be."""
    p = drive_cycle(circuit)[phase]
    on, off = names_phase(circuit, p, must.on), names_phase(circuit, p, must.off)
    if not on and not off:
        return None
    if must.signal is not None:
        is_on = bool(got.signal(must.module or "", must.signal, phase)[0])
        return None if is_on == on else f"{must.name} in {p.name}: {'on' if is_on else 'off'}"
    if must.a is None:
        return None
    try:
        low: Term = must.b if must.b is not None else battery_minus(circuit)
        volts = abs(float(got.volts(must.a, low, phase)[0]))
    except KeyError:
        return None
    least = must.min_v if must.min_v is not None else FED_V
    most = must.max_off_v if must.max_off_v is not None else FED_V
    if on and volts < least:
        return f"{must.name} in {p.name}: {volts:.3g} V, must be {least:g} V or more"
    return (
        f"{must.name} in {p.name}: {volts:.3g} V, must be {most:g} V or less"
        if off and volts > most
        else None
    )


def _found(circuit: Circuit, got: Solved) -> Iterator[str]:
    out = reasons(circuit, got.runs, 0)
    for phase, p in enumerate(drive_cycle(circuit)):
        if phase not in got.runs.phases or phase in out:
            continue
        if got.runs.status[0, got.runs.phases.index(phase)] in (CHATTER, NOT_CONVERGED):
            yield f"{p.name} never comes to rest"
            continue
        for must in circuit.musts:
            said = _wrong(circuit, got, must, phase)
            if said is not None:
                yield said
    for phase, why in out.items():
        yield f"{drive_cycle(circuit)[phase].name} cannot come about: {why}"


@lru_cache(maxsize=64)
def as_drawn(circuit: Circuit) -> tuple[Problem, ...]:
    """Warnings for what the sound vehicle of this sheet does not do."""
    got = solving.solved(circuit, [()], Conditions(), keep=False)
    blown = [f"its fuse {n} opens" for n in got.session.network.fuses if got.blown(n)[0]]
    return tuple(
        Problem("not-as-it-must", f"with nothing broken {said}", severity="warning", remedy=REMEDY)
        for said in [*blown, *_found(circuit, got)][:MOST_SAID]
    )
