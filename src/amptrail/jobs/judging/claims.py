"""What must be shown before a part is called dead: a list of demands, each with what would be true instead.

A demand is not met by a sentence but by readings that speak against its counter-cases: "the feed is good
under load" means that no resistance outside the terminal, large enough to starve it, is still compatible
with what was read there. So a meter on a lead that carries nothing shows no feed, and says so by itself.
Rules: JOB.md section 9 (feed and ground good under load while the part fails; a module: every supply and
ground, every input, the outputs absent and their wires whole), common practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import (
    Circuit,
    Driver,
    Fault,
    GroundPin,
    Input,
    Part,
    Reference,
    Supply,
    Term,
    key,
)
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.wiring import wiring
from amptrail.faults import catalogue
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.spots import battery_minus

What = Literal["fails", "feed", "ground", "side", "input", "reference", "output", "wire", "fitted", "alone"]
Lanes = tuple[tuple[Fault, ...], ...]
Array = NDArray[np.float64]
LOADS = ("lamp", "motor", "solenoid", "heater", "led", "ptc", "load", "starter", "resistor", "alternator")
OPENS = ("open", "resistance", "stuck_off", "missing", "dead")
OHMS = tuple(float(f"{10.0**e:.3g}") for e in np.arange(-2.0, 5.1, 0.5))
MOVES_V = 1.0  # an opening outside that moves the terminal by less does not starve it (common practice)
STARVED = 0.5  # of what opening it would move: from there on the part cannot do its work (common practice)
SHORT_OHM = 0.05
# a short has a place and nothing to buy; an interlock, a wrong instrument and a wake-up call are no dead part
NOT_DEAD = ("to_ground", "to_supply", "to_point", "interlock_open", "instrument_wrong", "woken")
TOO_MUCH = ("always_on", "stays_awake", "stuck_on")  # it does what it should not
MOST_OUTPUTS = 4


@dataclass(frozen=True, slots=True)
class Demand:
    """One line of a sheet. `counters`: faults outside the part, each of which would make the line untrue.

    `phases` (indices) in which a reading counts; empty: any. `loaded`: it must hold with the part itself dead
    too, so only a reading that loads the lead shows it. `literal` demands are met by what was told, not by
    weighing. `function`: what an output serves, as the sheet calls it.
    """

    what: What
    at: Term | None
    words: str
    counters: Lanes = ()
    phases: tuple[int, ...] = ()
    loaded: bool = False
    literal: bool = False
    function: str | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """That this part is what is wrong, by which faults, and what that demands."""

    part: Part
    kind: Literal["part", "module", "path"]
    demands: tuple[Demand, ...]


# ---- terminals of what is blamed --------------------------------------------------------------------
def terminals(circuit: Circuit, at: Term) -> tuple[Term, ...]:
    """The wired terminals between which the blamed element lies, in the order of the sheet."""
    part = next((p for p in circuit.parts if key(p.name) == key(at.part)), None)
    if part is None:
        return ()
    every = [Term(part.name, t.name) for t in wiring(circuit).terms if key(t.part) == key(part.name)]
    wanted = _of_spot(part, at.name, every)
    found: dict[int, Term] = {}
    for t in wanted:
        n = wiring(circuit).node(t)
        if n is not None:
            found.setdefault(n, t)
    return tuple(found.values())


def _of_spot(part: Part, spot: str, every: list[Term]) -> list[Term]:
    name = key(spot)
    if part.kind in ("connector", "box"):
        cavity = name.split(".")[0]
        return [t for t in every if key(t.name).split(".")[0] == cavity] if cavity else every
    if part.kind == "relay" and name:
        pins = ("85", "86") if name == "coil" else ("30", name)
        return [t for t in every if key(t.name) in pins]
    if part.kind == "switch" and "-" in spot:
        ends = {key(x) for x in spot.split("-")}
        return [t for t in every if key(t.name) in ends]
    return every


# ---- what lies outside a terminal -------------------------------------------------------------------
def _blamed(circuit: Circuit, f: Fault) -> tuple[Term, ...]:
    pin = next((x.pin for x in circuit.modules if isinstance(x, Driver) and _drives(x, f.at)), None)
    return (Term(f.at.part, pin),) if pin is not None else terminals(circuit, f.at)


def _drives(x: Driver, at: Term) -> bool:
    return key(x.module) == key(at.part) and key(x.name) == key(at.name)


@lru_cache(maxsize=16)
def _joined(circuit: Circuit) -> dict[int, tuple[Fault, ...]]:
    """Faults of the catalogue that open something or make it lossy, by the metals of what they blame."""
    found: dict[int, dict[Fault, None]] = {}
    for h in catalogue(circuit):
        f = h.faults[0] if len(h.faults) == 1 else None
        if f is None or f.mode not in OPENS:
            continue
        for t in _blamed(circuit, f):
            n = wiring(circuit).node(t)
            if n is not None:
                found.setdefault(n, {})[f] = None
    return {n: tuple(faults) for n, faults in found.items()}


def _outside(circuit: Circuit, at: Term, part: Part) -> dict[Term, list[Fault]]:
    """Elements joined to a terminal that may be open or lossy, each with its faults of the catalogue."""
    here = wiring(circuit).node(at)
    found: dict[Term, list[Fault]] = {}
    for f in _joined(circuit).get(-1 if here is None else here, ()):
        if key(f.at.part) != key(part.name):
            found.setdefault(f.at, []).append(f)
    return found


def _graded(faults: Sequence[Fault]) -> Iterator[tuple[Fault, ...]]:
    """The faults of one element from slight to open."""
    if any(f.mode == "resistance" for f in faults):
        at = faults[0].at
        yield from ((Fault("resistance", at, ohm=x),) for x in OHMS)
    yield from ((f,) for f in faults if f.mode != "resistance")


def _volts(circuit: Circuit, rows: Sequence[tuple[Fault, ...]], at: Term) -> Array:
    """Volts of the metal against battery minus, [row, phase]."""
    got = solving.solved(circuit, rows, Conditions(), keep=False)
    return np.stack([got.volts(at, battery_minus(circuit), p) for p in _every(circuit)], axis=1)


def _every(circuit: Circuit) -> tuple[int, ...]:
    return tuple(range(len(drive_cycle(circuit))))


Pair = tuple[Term, Term]


def _across(circuit: Circuit, rows: Sequence[tuple[Fault, ...]], pairs: Sequence[Pair]) -> Array:
    """Volts between pairs of metals, [row, phase, pair]."""
    got = solving.solved(circuit, rows, Conditions(), keep=False)
    return np.stack(
        [np.stack([got.volts(a, b, p) for p in _every(circuit)], axis=1) for a, b in pairs], axis=2
    )


def _users(circuit: Circuit) -> list[Pair]:
    """What current is for: the two ends of loads and windings, a module's supplies and inputs."""
    w = wiring(circuit)
    names = (("in", "out"), ("86", "85"), ("50", "31"))
    parts = [p.name for p in circuit.parts if p.kind in (*LOADS, "relay")]
    ends = [(Term(p, a), Term(p, b)) for p in parts for a, b in names]
    grounds = {key(x.module): Term(x.module, x.pin) for x in circuit.modules if isinstance(x, GroundPin)}
    minus = battery_minus(circuit)
    ends += [(Term(x.module, x.pin), grounds.get(key(x.module), minus)) for x in circuit.modules
             if isinstance(x, (Supply, Input))]  # fmt: skip
    return [(a, b) for a, b in ends if w.node(a) is not None and w.node(b) is not None]


def served(circuit: Circuit, at: Term, fault: Fault | None = None) -> tuple[Pair, ...]:
    """Loads, windings and pins that lose their volts when the blamed element does not carry, or (where one is
    given) with this very fault: a relay that stays pulled in opens its break contact."""
    users = _users(circuit)
    same = [h.faults[0] for h in catalogue(circuit) if len(h.faults) == 1 and h.faults[0].at == at]
    rows = [(), *_graded([f for f in same if f.mode in OPENS]), *([(fault,)] if fault is not None else [])]
    if not users or len(rows) < 2:
        return ()
    volts = _across(circuit, rows, users)
    moved = np.abs(volts[1:] - volts[0]).max(axis=(0, 1))
    return tuple(x for x, v in zip(users, moved, strict=True) if v >= MOVES_V)


def starving(
    circuit: Circuit, at: Term, part: Part, served: Sequence[Pair] = ()
) -> tuple[Lanes, tuple[int, ...]]:
    """Faults outside a terminal that starve it (or, where told, the parts it serves), and the phases (most
    of all first) in which they show."""
    groups = [list(_graded(faults)) for faults in _outside(circuit, at, part).values()]
    rows = [(), *(r for g in groups for r in g)]
    if len(rows) == 1:
        return (), ()
    volts = _across(circuit, rows, served) if served else _volts(circuit, rows, at)[:, :, None]
    moved = np.abs(volts[1:] - volts[0]).max(axis=2)
    out: list[tuple[Fault, ...]] = []
    shows = np.zeros(moved.shape[1])
    first = 0
    for g in groups:
        mine = moved[first : first + len(g)]
        first += len(g)
        best = int(mine.max(axis=0).argmax())
        most = float(mine[:, best].max())
        if most < MOVES_V:
            continue
        out += [r for r, v in zip(g, mine[:, best], strict=True) if v >= STARVED * most]
        shows = np.maximum(shows, mine.max(axis=0))
    order = np.argsort(-shows, kind="stable")
    return tuple(out), tuple(int(p) for p in order if shows[p] >= MOVES_V)


# ---- demands ----------------------------------------------------------------------------------------
def _split(circuit: Circuit, phases: Sequence[int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Phases apart from cranking ones, and cranking ones."""
    base = [p.base for p in drive_cycle(circuit)]
    return tuple(p for p in phases if base[p] != "cranking"), tuple(
        p for p in phases if base[p] == "cranking"
    )


def _side(circuit: Circuit, part: Part, at: Term, served: Sequence[Pair]) -> Iterator[Demand]:
    """The circuit outside one terminal of a part that only carries or uses current."""
    load = part.kind in LOADS
    counters, phases = starving(circuit, at, part, () if load else served)
    if not counters:
        return
    if load:
        healthy = _volts(circuit, [()], at)[0]
        live = bool(np.abs(healthy[list(phases)]).max() > MOVES_V)
        what: What = "feed" if live else "ground"
        yield Demand(what, at, f"{what} at {at} good under load while it fails", counters, phases, True)
    else:
        yield Demand("side", at, f"what {at} is joined to is good while it fails", counters, phases)


def _blames(circuit: Circuit, faults: Sequence[Fault]) -> tuple[Fault, Part] | None:
    """The first of the faults that is of a part which could be called dead, and the part."""
    first = next((f for f in faults if f.mode not in NOT_DEAD), None)
    part = next((p for p in circuit.parts if first and key(p.name) == key(first.at.part)), None)
    return None if first is None or part is None else (first, part)


def may_condemn(circuit: Circuit, faults: Sequence[Fault]) -> bool:
    """Whether one of these faults is of a part that could be called dead."""
    return _blames(circuit, faults) is not None


@lru_cache(maxsize=64)
def claim(circuit: Circuit, faults: tuple[Fault, ...]) -> Claim | None:
    """What calling the first of these faults' part dead demands; None where nothing can be called dead: a
    short has a place, and nothing to buy."""
    blamed = _blames(circuit, faults)
    if blamed is None:
        return None
    first, part = blamed
    if part.kind == "module":
        return Claim(part, "module", tuple(_module(circuit, part, first)))
    fed = served(circuit, first.at, first)
    uses = part.kind in (*LOADS, "relay")
    words = f"{part.name} does not do its work" if uses else f"something beyond or before {part.name} fails"
    fails = Demand("fails", None, words, ((),), ())
    sides = [d for t in terminals(circuit, first.at) for d in _side(circuit, part, t, fed)]
    return Claim(part, "part" if uses else "path", (fails, *sides))


def _module(circuit: Circuit, part: Part, first: Fault) -> Iterator[Demand]:
    lines = [x for x in circuit.modules if key(x.module) == key(part.name)]
    too_much = first.mode in TOO_MUCH
    words = "does what it should not" if too_much else "does not do what it should"
    yield Demand("fails", None, f"{part.name} {words}", ((),), ())
    for x in lines:
        if isinstance(x, (Supply, GroundPin)) and not too_much:
            yield from _rail(circuit, part, Term(part.name, x.pin), isinstance(x, Supply))
    for x in lines:
        if isinstance(x, Input):
            at = Term(part.name, x.pin)
            counters, phases = _input(circuit, part, at)
            words = f"input {x.name} at {at} " + ("at rest" if too_much else "present")
            if counters:
                yield Demand("input", at, words, counters, phases)
        elif isinstance(x, Reference):
            at = Term(part.name, x.pin)
            words = f"reference {x.name} at {at} read with the sensors unplugged"
            yield Demand("reference", at, words, literal=True)
    yield from _outputs(circuit, part, first, lines)
    yield Demand("fitted", None, f"{part.name} is the right part with the right coding", literal=True)


def _rail(circuit: Circuit, part: Part, at: Term, supply: bool) -> Iterator[Demand]:
    """A supply or ground pin, and once more while cranking where it is needed then."""
    counters, phases = starving(circuit, at, part)
    what: What = "feed" if supply else "ground"
    name = "supply" if supply else "ground"
    steady, cranking = _split(circuit, phases)
    if counters and steady:
        yield Demand(what, at, f"{name} {at} good under load", counters, steady, True)
    if counters and cranking:
        yield Demand(what, at, f"{name} {at} good while cranking", counters, cranking)


def _input(circuit: Circuit, part: Part, at: Term) -> tuple[Lanes, tuple[int, ...]]:
    """An input may be missing (open), or held by a chafed lead or a switch that does not open."""
    counters, phases = starving(circuit, at, part)
    here = wiring(circuit).node(at)
    held = [h.faults for h in catalogue(circuit) if len(h.faults) == 1 and h.faults[0].mode == "stuck_on"
            and any(wiring(circuit).node(t) == here for t in terminals(circuit, h.faults[0].at))]  # fmt: skip
    rows: list[tuple[Fault, ...]] = [
        (Fault("to_ground", at, ohm=SHORT_OHM),),
        (Fault("to_supply", at, ohm=SHORT_OHM),),
    ]
    rows += held
    moved = np.abs(_volts(circuit, rows, at) - _volts(circuit, [()], at))
    more = tuple(p for p in _every(circuit) if float(moved[:, p].max()) >= MOVES_V and p not in phases)
    return (*counters, *(r for r, v in zip(rows, moved, strict=True) if v.max() >= MOVES_V)), (*phases, *more)


def _functions(circuit: Circuit, driver: Fault) -> Iterator[str]:
    """Functions of the sheet that are lost with an output."""
    musts = [m for m in circuit.musts if m.a is not None]
    if not musts:
        return
    pairs = [(m.a, m.b or battery_minus(circuit)) for m in musts if m.a is not None]
    volts = _across(circuit, [(), (driver,)], pairs)
    for m, v in zip(musts, np.abs(volts[1] - volts[0]).max(axis=0), strict=True):
        if v >= MOVES_V:
            yield m.name


def _outputs(circuit: Circuit, part: Part, first: Fault, lines: Sequence[object]) -> Iterator[Demand]:
    """The outputs complained of: absent (or present) after a key cycle, and their wires whole."""
    drivers = [x for x in lines if isinstance(x, Driver)]
    named = [x for x in drivers if _drives(x, first.at)]
    if first.mode == "stays_awake":
        return
    state = "still present" if first.mode in TOO_MUCH else "absent"
    for x in (named or drivers)[:MOST_OUTPUTS]:
        at, driver = Term(part.name, x.pin), Fault("dead", Term(part.name, x.name))
        serves = next(_functions(circuit, driver), None)
        words = f"output {x.name} at {at} {state} after a key cycle"
        yield Demand("output", at, words, literal=True, function=serves)
        counters, _ = starving(circuit, at, part, served(circuit, driver.at))
        shorts = ((Fault("to_ground", at, ohm=SHORT_OHM),), (Fault("to_supply", at, ohm=SHORT_OHM),))
        yield Demand(
            "wire", at, f"wire of output {x.name} at {at} neither open nor shorted", (*counters, *shorts)
        )
