"""What a module's own code says of its pins: a reading by the module, weighed like any other.

A code speaks of a pin that is not as the module expects it. Which pin is guessed from the words of its title
(SAE J2012) and the names of the module's lines; where no name fits, any of its pins may be meant.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Driver, Input, Reference, Supply, Term, key
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.predicted import Solved
from amptrail.jobs.solved.spots import battery_minus
from amptrail.reference.words import dtc_title

Array = NDArray[np.float64]
Line = Driver | Input | Reference | Supply
# chance of the code when the pin meant is abnormal and when it is not; the same when any pin may be meant
SET, UNSET = 0.9, 0.05
SET_ANY, UNSET_ANY = 0.6, 0.1  # all four common practice
OFF_V, OFF_SMALL_V = 1.5, 0.3  # how far a pin is off before a module minds: battery level, 5 V level
LEAST_LOAD_A, LOST_SHARE = 0.02, 0.3
SAYS_NOTHING = frozenset(
    (
        "circuit", "control", "low", "high", "open", "sensor", "primary", "secondary", "voltage", "a", "b",
        "1", "2", "system", "supply", "input",
    )
)  # fmt: skip


def _lines(circuit: Circuit, module: str) -> list[Line]:
    kinds = (Driver, Input, Reference, Supply)
    return [x for x in circuit.modules if isinstance(x, kinds) and key(x.module) == key(module)]


def _words(line: Line) -> set[str]:
    text = f"{getattr(line, 'name', '')} {line.pin}"
    return set(key(text).replace("_", " ").split())


def meant(circuit: Circuit, module: str, code: str) -> tuple[list[Line], bool]:
    """The lines of the module that the code may speak of, and whether its title named them."""
    lines = _lines(circuit, module)
    title = (dtc_title(code) or "").lower().replace("/", " ").replace("-", " ").split()
    telling = set(title) - SAYS_NOTHING
    if {"system", "voltage"} <= set(title) or "supply" in title:
        supplies: list[Line] = [x for x in lines if isinstance(x, Supply)]
        if supplies and "actuator" not in title:
            return supplies, True
    if "reference" in title:
        references: list[Line] = [x for x in lines if isinstance(x, Reference)]
        if references:
            return references, True
    named = [x for x in lines if telling & _words(x)]
    return (named, True) if named else (lines, False)


def _off_v(line: Line) -> float:
    small = isinstance(line, Reference) or (isinstance(line, Input) and line.pull == "volts")
    return OFF_SMALL_V if small else OFF_V


def _lost_load(line: Driver, phase: int, got: Solved, sound: Solved) -> Array:
    """Whether an output that should carry its load carries next to none of it: it watches its own current."""
    name = f"{line.module}.{line.name}"
    usual = abs(float(sound.amps(name, phase)[0]))
    if usual < LEAST_LOAD_A:
        return np.zeros(got.runs.status.shape[0], bool)
    return np.asarray(np.abs(got.amps(name, phase)) < LOST_SHARE * usual, bool)


def code_chance(circuit: Circuit, o: Observation, got: Solved) -> Array:
    """P(this code is set) of every lane, in the phase told."""
    module, phase = o.part or "", o.phase or 0
    lines, named = meant(circuit, module, o.word)
    title = (dtc_title(o.word) or "").lower().split()
    ground = battery_minus(circuit)
    sound = solving.solved(circuit, [()], o.conditions)
    abnormal = np.zeros(got.runs.status.shape[0], bool)
    for line in lines:
        at = Term(line.module, line.pin)
        off = got.volts(at, ground, phase) - sound.volts(at, ground, phase)[0]
        far = np.abs(off) > _off_v(line)
        if "low" in title:
            far = off < -_off_v(line)
        elif "high" in title:
            far = off > _off_v(line)
        abnormal |= far
        if isinstance(line, Driver) and "high" not in title:
            abnormal |= _lost_load(line, phase, got, sound)
    hit, false = (SET, UNSET) if named else (SET_ANY, UNSET_ANY)
    chance = np.where(abnormal, hit, false)
    # a module that is not awake then can only show what it stored before
    return np.asarray(np.where(got.awake(module, phase) > 0, chance, false), np.float64)
