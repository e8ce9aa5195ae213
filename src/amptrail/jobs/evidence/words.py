"""Likelihood of what was said rather than measured: lit, works, clicks, answers, looks, exchanged in vain."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.chance import count_log_likelihood
from amptrail.belief.senses import answers, brightness, clicks, word_column, works
from amptrail.circuit.model import Circuit, Must, Part, key
from amptrail.circuit.supply import nominal_v
from amptrail.circuit.tables import value
from amptrail.instruments import by_name
from amptrail.jobs.evidence import looks, moving
from amptrail.jobs.evidence.codes import code_chance
from amptrail.jobs.evidence.warmth import warmth
from amptrail.jobs.solved.acting import cured
from amptrail.jobs.solved.observe import Observation

if TYPE_CHECKING:
    from amptrail.jobs.evidence.predict import Suspect
    from amptrail.jobs.solved.predicted import Solved

Array = NDArray[np.float64]
GONE = 0.02  # chance that "no change" is said although the only fault was renewed (common practice)
RUNS_SHARE = 0.6  # a load said to work has at least this share of battery volts across it (common practice)
SWINGS = 0.2  # V or A up and down that a person notices (common practice)
SEEN_TO_SWING, THOUGHT_TO_SWING = 0.95, 0.02  # chance that it is said (common practice)
LAMP_V = 12.0  # the test lamp of the contract
LOADS = ("lamp", "motor", "load", "heater", "solenoid")  # two ends, and what works in between


def function_of(circuit: Circuit, part: str) -> Must | None:
    """The `must` of that name, or the first whose volts are those across the part."""
    for m in circuit.musts:
        if key(m.name) == key(part):
            return m
    for m in circuit.musts:
        if m.a and key(m.a.part) == key(part) and m.b and key(m.b.part) == key(part):
            return m
    return None


def asked_of(circuit: Circuit, part: str) -> str:
    """What a question calls a function: by the part it is of, its own name behind it."""
    must = function_of(circuit, part)
    if must is None or must.a is None or must.b is None or must.a.part != must.b.part:
        return part
    return must.a.part if key(must.name) == key(must.a.part) else f"{must.a.part} ({must.name})"


def _part(circuit: Circuit, name: str | None) -> Part | None:
    return next((p for p in circuit.parts if name and key(p.name) == key(name)), None)


def does(circuit: Circuit, o: Observation, got: Solved) -> Array:
    """P(works) of a function or part in the phase, per lane."""
    must = function_of(circuit, o.part or "")
    phase = o.phase or 0
    if must and must.signal:
        return 0.02 + 0.96 * got.signal(must.module or "", must.signal, phase)
    if must and must.a and must.b:
        volts = got.volts(must.a, must.b, phase) * _inside(circuit, must, got, phase)
        return works(volts, low=must.min_v or RUNS_SHARE * nominal_v(circuit))["works"]
    part = _part(circuit, o.part)
    if part and part.kind == "relay":
        return 0.02 + 0.96 * got.energised(part.name, phase)
    if part and part.kind == "module":
        return 0.02 + 0.96 * got.awake(part.name, phase)
    volts = got.across(o.part or "", phase)
    if part and part.kind in LOADS:
        volts = volts * got.live_share(part.name, phase)
    return works(np.abs(volts), low=RUNS_SHARE * nominal_v(circuit))["works"]


def _inside(circuit: Circuit, must: Must, got: Solved, phase: int) -> Array | float:
    """The share of a function's volts that does something: less than 1 where the load itself is burnt out."""
    if must.a and must.b and key(must.a.part) == key(must.b.part):
        part = _part(circuit, must.a.part)
        if part is not None and part.kind in LOADS:
            return got.live_share(part.name, phase)
    return 1.0


def _lit(circuit: Circuit, o: Observation, got: Solved) -> Array:
    part = _part(circuit, o.part)
    if part is not None:
        rated = value(part, "rated_v") if part.kind == "lamp" else nominal_v(circuit)
        volts = got.across(part.name, o.phase or 0)
        if part.kind in LOADS:
            volts = volts * got.live_share(part.name, o.phase or 0)
        table = brightness(volts, float(rated) if isinstance(rated, (int, float)) else LAMP_V)
    else:
        table = brightness(got.lamp_volts(o), lamp_v(o.instrument))
    return table.get(o.word, 1 - table["dark"])


def lamp_v(instrument: str) -> float:
    """The volts at which a test lamp burns as bright as it should."""
    known = by_name(instrument)
    return known.tap_parameters[0] if known.tap_kind == "lamp" else LAMP_V


def column(circuit: Circuit, o: Observation, got: Solved, suspects: Sequence[Suspect]) -> Array:
    """Natural-log likelihood of the observation on every lane."""
    owner = np.repeat(np.arange(len(suspects)), [len(s.rows) for s in suspects])
    if o.kind == "exchanged":
        cured = np.asarray([_cured_by(s, o) for s in suspects])
        if o.tells:  # where the new part changes nothing, what failed fails as a matter of course
            again = np.asarray(sum(column(circuit, x, got, suspects) for x in o.tells), np.float64)
            return np.where((cured > 0)[owner], again, 0.0)
        # nobody said what failed: a cause that lies in this part alone is gone
        return np.asarray(np.where(cured == 1, np.log(GONE), 0.0)[owner], np.float64)
    if o.kind == "looks":
        causes, blown = [suspects[int(i)].causes for i in owner], got.blown(o.part or "")
        return word_column(looks.chance(circuit, o.part or "", o.word, causes, o.conditions, blown))
    if o.kind == "moved":
        return np.full(len(owner), np.log(moving.steady(o.word)))
    if o.kind == "clicks":
        word = "no click" if o.word in ("silent", "no click", "nothing") else "clicks"
        return word_column(clicks(got.switches(o.part or "", o.phase or 0))[word])
    if o.kind == "answers":
        word = "silent" if o.word.startswith("does not") or o.word == "silent" else "answers"
        return word_column(answers(got.awake(o.part or "", o.phase or 0))[word])
    if o.kind == "alternates":
        there = got.swing(o) > SWINGS
        return word_column(np.where(there, SEEN_TO_SWING, THOUGHT_TO_SWING))
    if o.kind == "code":
        return word_column(code_chance(circuit, o, got))
    if o.kind == "felt":
        felt = _part(circuit, o.part)
        if felt is None or o.phase is None:
            return np.zeros(len(owner))
        return word_column(warmth(circuit, felt, o.phase, got)[o.word])
    p = _lit(circuit, o, got) if o.kind == "lit" else does(circuit, o, got)
    if o.kind == "works" and o.good_of:
        seen, tries = o.good_of
        return np.asarray([count_log_likelihood(seen, tries, float(x)) for x in p], np.float64)
    if o.kind == "works" and o.word.startswith("does not"):
        p = 1 - p
    return word_column(p)


def _cured_by(s: Suspect, o: Observation) -> float:
    """The share of what is wrong that a new part, or a mended metal, takes away."""
    every = [f for c in s.causes for f in c.faults]
    return sum(cured(f, o.made_new) and not f.stays for f in every) / max(len(every), 1)
