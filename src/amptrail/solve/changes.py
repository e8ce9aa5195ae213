"""Changes: what a fault, a repair try or a held switch does to one lane of a compiled network."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from amptrail.circuit.model import Term, key
from amptrail.errors import ModelError, Problem, nearest
from amptrail.solve import laws
from amptrail.solve.assemble import wire_ohm
from amptrail.solve.network import SPARE, Network
from amptrail.solve.records import Lane
from amptrail.solve.reused import uncleared


class Kind(StrEnum):
    """Kinds of change. `target` is a branch, part, driver (`MODULE.name`) or node; see `Change`."""

    OPEN = "open"  # branch
    SERIES = "series"  # branch; value ohm, adds up
    BRIDGE = "bridge"  # nodes target and other; value ohm
    STUCK_ON = "stuck_on"  # relay armature or switch
    STUCK_OFF = "stuck_off"
    DRIVER_DEAD = "driver_dead"
    DRIVER_ON = "driver_on"
    STAYS_AWAKE = "stays_awake"  # module
    MODULE_DEAD = "module_dead"
    SEIZED = "seized"  # motor
    PARAM = "param"  # part (or branch); other = attribute name, value SI
    SWITCH_HELD = "switch_held"  # switch; other "open", "closed", a position, or a phase name
    FUSE_OUT = "fuse_out"
    RELAY_OUT = "relay_out"  # unplugged: every branch of the part open
    UNPLUG = "unplug"  # connector, module or any part: every branch open
    INPUT_DEAD = "input_dead"  # MODULE.input never true
    FIRST_END = "first_end"  # branch; its end a put at node `other`
    SECOND_END = "second_end"  # branch; its end b put at node `other`
    BATTERY_VOLTS = "battery_volts"  # battery; value = emf in V


@dataclass(frozen=True, slots=True)
class Change:
    """One change. Names compare without case; branches and nodes may also be given by number."""

    kind: Kind
    target: Term | str | int
    other: Term | str | int | None = None
    value: float | None = None


def _name(target: Term | str | int) -> str:
    if isinstance(target, Term):
        return key(str(target) if target.name else target.part)
    return key(str(target))


def _index(names: Sequence[str], target: Term | str | int, what: str) -> int:
    known = [key(n) for n in names]
    if _name(target) not in known:
        raise ModelError(
            (Problem("unknown-target", f"no {what} {target}", nearest=nearest(str(target), names)),)
        )
    return known.index(_name(target))


def _value(change: Change) -> float:
    if change.value is None or not np.isfinite(change.value):
        raise ModelError((Problem("no-value", f"{change.kind} at {change.target} needs a finite value"),))
    return change.value


def _bridge(net: Network, lane: Lane, change: Change) -> None:
    first = len(net.branches)
    free = [b for b in range(first, first + SPARE) if lane.kind[b] == laws.NONE]
    if not free or change.other is None:
        raise ModelError((Problem("too-many-bridges", f"at most {SPARE} bridges, each between two points"),))
    b = free[0]
    target, other = (
        net.node(x if not isinstance(x, str) else Term(*x.split(".", 1)) if "." in x else Term("", x))
        for x in (change.target, change.other)
    )
    lane.kind[b], lane.na[b], lane.nb[b] = laws.RES, target, other
    lane.p[b, 0] = _value(change)


def _stuck(net: Network, lane: Lane, change: Change) -> None:
    on = 1 if change.kind == Kind.STUCK_ON else 0
    if _name(change.target) in [key(r) for r in net.relays]:
        lane.relay[_index(net.relays, change.target, "relay")] = on
    elif _name(change.target) in [key(f) for f in net.fuses]:
        if on:
            text = f"fuse {change.target} cannot be stuck on"
            raise ModelError((Problem("not-a-switch", text, remedy="Write `wrong rating` of a fuse."),))
        lane.open[net.branch(change.target)] = 1  # burnt: gone, whatever current there was
    else:
        _index(net.switches, change.target, "switch or relay")
        for s, name in enumerate(net.switches):
            if key(name) == _name(change.target):
                lane.switch[s] = on


def _held(net: Network, lane: Lane, change: Change) -> None:
    _index(net.switches, change.target, "switch")
    word = key(str(change.other))
    phases = [key(p.name) for p in net.phases]
    for s, name in enumerate(net.switches):
        if key(name) != _name(change.target):
            continue
        if word in ("open", "closed"):
            lane.switch[s] = int(word == "closed")
        elif s in net.switch_at and word not in phases:
            lane.switch[s] = int(word in {key(p) for p in net.switch_at[s][1]})
        elif word in phases:
            lane.switch[s] = net.static.closed[phases.index(word), s]
        else:
            raise ModelError((Problem("no-such-position", f"switch {name} has no position {change.other}"),))


def _wire(net: Network, change: Change, name: str, value: float) -> float:
    """Ohms of a wire whose length or area is `value` instead."""
    part = net.part_of.get(_name(change.target))
    if part is not None and part.kind == "wire":
        given = {k: v for k, v in part.given if k not in ("ohm", name)}
        return wire_ohm(replace(part, given=tuple(sorted({**given, name: value}.items()))))
    raise ModelError((Problem("not-a-wire", f"{change.target} is no wire"),))


def _param(net: Network, lane: Lane, change: Change, name: str) -> None:
    value = _value(change)
    if name in ("length_m", "area_mm2"):
        name, value = "ohm", _wire(net, change, name, value)
    parameter = net.parameter_of.get((_name(change.target), key(name)))
    if parameter is not None:
        for array, index in parameter.places:
            getattr(lane, array)[index] = value
        return
    known = [p.name for p in net.parameters if key(p.part) == _name(change.target)]
    raise ModelError((Problem("no-such-value", f"{change.target} has no {name}", expected=tuple(known)),))


def _seized(net: Network, lane: Lane, change: Change) -> None:
    b = net.branch(change.target)
    if net.base.kind[b] != laws.MOTOR:
        raise ModelError((Problem("not-a-motor", f"{change.target} is no motor"),))
    lane.kind[b] = laws.RES


def _all_open(net: Network, lane: Lane, change: Change) -> None:
    branches = net.part_branches.get(_name(change.target))
    if branches is None:
        raise ModelError((Problem("unknown-target", f"no part {change.target}"),))
    for b in branches:
        lane.open[b] = 1
    modules = [key(m) for m in net.modules]
    if _name(change.target) in modules:  # a module that is not there neither wakes nor says anything
        lane.module[modules.index(_name(change.target))] = 2


def _series(net: Network, lane: Lane, change: Change) -> None:
    lane.series[net.branch(change.target)] += _value(change)


def _open(net: Network, lane: Lane, change: Change) -> None:
    lane.open[net.branch(change.target)] = 1


def _end(net: Network, lane: Lane, change: Change) -> None:
    if not isinstance(change.other, (Term, int)):
        raise ModelError((Problem("no-node", f"{change.kind} at {change.target} needs a point"),))
    ends = lane.na if change.kind == Kind.FIRST_END else lane.nb
    ends[net.branch(change.target)] = net.node(change.other)


def _driver(net: Network, lane: Lane, change: Change) -> None:
    lane.driver[_index(net.drivers, change.target, "driver")] = int(change.kind == Kind.DRIVER_ON)


def _module(net: Network, lane: Lane, change: Change) -> None:
    lane.module[_index(net.modules, change.target, "module")] = 1 if change.kind == Kind.STAYS_AWAKE else 2


def _input(net: Network, lane: Lane, change: Change) -> None:
    lane.input[_index(tuple(net.inputs), change.target, "input")] = 1


def _emf(net: Network, lane: Lane, change: Change) -> None:
    _param(net, lane, change, "emf_v")


def _any_param(net: Network, lane: Lane, change: Change) -> None:
    _param(net, lane, change, str(change.other))


APPLY: dict[Kind, Callable[[Network, Lane, Change], None]] = {
    Kind.OPEN: _open, Kind.FUSE_OUT: _open, Kind.SERIES: _series, Kind.BRIDGE: _bridge, Kind.STUCK_ON: _stuck,
    Kind.STUCK_OFF: _stuck, Kind.DRIVER_DEAD: _driver, Kind.DRIVER_ON: _driver, Kind.STAYS_AWAKE: _module,
    Kind.MODULE_DEAD: _module, Kind.SEIZED: _seized, Kind.PARAM: _any_param, Kind.SWITCH_HELD: _held,
    Kind.RELAY_OUT: _all_open, Kind.UNPLUG: _all_open, Kind.INPUT_DEAD: _input, Kind.BATTERY_VOLTS: _emf,
    Kind.FIRST_END: _end, Kind.SECOND_END: _end,
}  # fmt: skip


def stack(net: Network, lanes: Sequence[Sequence[Change]]) -> Lane:
    """The base lane repeated, each with its changes: every array gets a leading lane axis."""
    many = Lane(*(uncleared((len(lanes), *a.shape), a.dtype) for a in net.base))
    for all_of_them, a in zip(many, net.base, strict=True):
        all_of_them[:] = a
    for n, changes in enumerate(lanes):
        if changes:
            lane = Lane(*(a[n] for a in many))
            for change in changes:
                APPLY[change.kind](net, lane, change)
    return many
