"""Whether a phase can come about: key position and requests are what the person does, cranking and running
follow from the circuit.

A reason is a plain sentence naming the switch or the part; None: nothing stands in the way.
"""

from __future__ import annotations

from collections.abc import Collection

from amptrail.circuit.model import Circuit, Must, Phase, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.solve.network import Network
from amptrail.solve.runs import Floats, Runs


def reasons(circuit: Circuit, runs: Runs, lane: int) -> dict[int, str]:
    """Why phases cannot come about, by their index in the drive cycle; only phases kept in `runs`.

    Cranking: a drawn starter must pull in; without one, what an interlock guards (or what must hold in
    cranking only) must have its volts. Running: the engine must have been cranked, where the cycle cranks it.
    """
    out: dict[int, str] = {}
    never_cranked: str | None = None
    cranked = False
    for p, phase in enumerate(drive_cycle(circuit)):
        if p not in runs.phases:
            continue
        why = _held(circuit, runs, lane, p, phase)
        if phase.base == "cranking":
            why = why or _does_not_turn(circuit, runs, lane, p, phase)
            never_cranked, cranked = why, cranked or why is None
        elif phase.base == "running" and never_cranked and not cranked:
            why = why or f"the engine was never cranked: {never_cranked}"
        if why:
            out[p] = why
    return out


def _positions(net: Network, name: str) -> list[int]:
    return [s for s, n in enumerate(net.switches) if key(n) == key(name)]


def _held(circuit: Circuit, runs: Runs, lane: int, p: int, phase: Phase) -> str | None:
    """A switch that this phase puts in a position, and whose contact cannot make there."""
    net = runs.network
    for switch, position in phase.at:
        for s in _positions(net, switch):
            forced = int(runs.lanes.switch[lane, s])
            if forced == 0 and net.static.closed[p, s] == 1:
                return f"{switch} cannot make its contact at {position}"
    return None


def _open_interlocks(circuit: Circuit, runs: Runs, lane: int, p: int, functions: set[str]) -> list[str]:
    """Interlock switches of these functions (all when none is named) that are open in the phase."""
    net, found = runs.network, []
    for i in circuit.interlocks:
        if functions and key(i.function) not in functions:
            continue
        made = [
            int(runs.lanes.switch[lane, s]) == 1
            or (int(runs.lanes.switch[lane, s]) < 0 and net.static.closed[p, s] == 1)
            for s in _positions(net, i.switch)
        ]
        if made and not any(made):
            found.append(f"{i.switch} is open (interlock for {i.function})")
    return found


def turns(
    circuit: Circuit, net: Network, phase: Phase, relays: Collection[str], volts: Floats
) -> tuple[bool, str]:
    """Whether the engine is turned at an instant of a cranking phase (relays pulled in by name, V by node),
    and what of it is missing."""
    starters = [x.name for x in circuit.parts if x.kind == "starter"]
    if starters:
        on = {key(r) for r in relays}
        return any(key(s) in on for s in starters), f"starter {starters[0]} does not pull in"
    missing = [m.name for m in _cranking_functions(circuit, phase) if not _holds(net, volts, m)]
    return not missing, f"{missing[0]} does not come about" if missing else ""


def _does_not_turn(circuit: Circuit, runs: Runs, lane: int, p: int, phase: Phase) -> str | None:
    slot = runs.phases.index(p)
    relays = runs.state(lane, slot).relays_energised
    turned, what = turns(circuit, runs.network, phase, relays, runs.volts[lane, slot])
    if turned:
        return None
    guarded = {key(m.name) for m in _cranking_functions(circuit, phase)}
    because = _open_interlocks(circuit, runs, lane, p, guarded)
    return f"{what}: {', '.join(because)}" if because else what


def _cranking_functions(circuit: Circuit, phase: Phase) -> list[Must]:
    """What turns the engine: functions an interlock guards and that must hold in this phase; else, where the
    battery bears the starter as a resistance, those that must hold in cranking and in no other phase."""
    here = [m for m in circuit.musts if m.a is not None and names_phase(circuit, phase, m.on)]
    guarded = {key(i.function) for i in circuit.interlocks}
    if found := [m for m in here if key(m.name) in guarded]:
        return found
    if not any(p.kind == "battery" and p.said("crank_ohm") is not None for p in circuit.parts):
        return []
    others = [p for p in drive_cycle(circuit) if p.base != "cranking"]
    return [m for m in here if not any(names_phase(circuit, p, m.on) for p in others)]


def _holds(net: Network, volts: Floats, must: Must) -> bool:
    if must.a is None or must.min_v is None:
        return True
    low = volts[net.node(must.b)] if must.b is not None else 0.0
    return bool(volts[net.node(must.a)] - low >= must.min_v)
