"""A fault as changes of one lane of a compiled network."""

from __future__ import annotations

from collections.abc import Callable

from amptrail.circuit.model import Driver, Fault, Input, Term, key
from amptrail.circuit.pins import ending_at, is_pin, is_reference, is_wiper, lives_by
from amptrail.circuit.strap import metal
from amptrail.circuit.tables import number
from amptrail.errors import ModelError, one
from amptrail.faults.hypothesis import label
from amptrail.solve import laws
from amptrail.solve.changes import Change, Kind
from amptrail.solve.network import Network

# what a severity nobody stated is taken to be, ohm (common practice: a bad joint, a hard chafe, a wet plug)
UNSAID_OHM = {"resistance": 1.0, "to_ground": 0.05, "to_supply": 0.05, "to_point": 0.1}
CAVITY_OHM = 0.002  # oracle SCHEMA: one healthy cavity
Changes = tuple[Change, ...]


def _ohm(fault: Fault, ohm: float | None) -> float:
    given = fault.ohm if fault.ohm is not None else ohm
    value = given if given is not None else UNSAID_OHM[fault.mode]
    if not value > 0:
        at = str(fault.at) if fault.at.name else fault.at.part
        raise one("severity", f"{value:g} ohm at {at} is not a resistance above zero",
                  remedy="write what is there, such as 50 mohm, or `open`")  # fmt: skip
    return value


def _node(net: Network, term: Term) -> int:
    """The metal blamed; a cavity without a side is its side a, a part its first joined end."""
    tries = (term.name, f"{term.name}.a", "in", "out", "+", "1", "30")
    for name in tries:
        known = net.node_index.get((key(term.part), key(name)))
        if known is not None and (name == term.name or not term.name or name.endswith(".a")):
            return known
    return net.node(term)


def _at_pin(net: Network, at: Term) -> tuple[int, ...]:
    """What a bad joint at a module's pin sits in: the one branch that comes to the pin from outside, else all
    that the module has there."""
    comes, mine = _around(net, at)
    return comes if len(comes) == 1 else mine


def _around(net: Network, at: Term) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The branches that come to a terminal from outside, and the part's own that end on its metal."""
    node, own = net.node(at), set(net.part_branches.get(key(at.part), ()))
    ends = zip(net.base.kind, net.base.na, net.base.nb, strict=True)
    there = [b for b, (kind, i, j) in enumerate(ends) if kind != laws.NONE and node in (i, j)]
    return tuple(b for b in there if b not in own), tuple(b for b in there if b in own)


def _at_terminal(net: Network, at: Term) -> tuple[int, ...]:
    """What a bad joint at a part's terminal sits in, where several branches of the part end there: the one
    that comes from outside, else each of them."""
    part = net.part_of.get(key(at.part))
    ending = ending_at(part, at.name) if part is not None else ()
    if part is None or not (ending or is_wiper(part, at.name)):
        return ()
    names = (key(f"{part.name}.{n}" if n else part.name) for n in ending)
    own = tuple(net.branch_of[n] for n in names if n in net.branch_of)
    comes, mine = _around(net, at)
    return comes if len(comes) == 1 and (not own or set(mine) == set(own)) else own


def _branches(net: Network, at: Term) -> tuple[int, ...]:
    """The branch blamed, or every branch of a part that has none of its own name."""
    if is_pin(net.circuit, at):
        return _at_pin(net, at)
    if ending := _at_terminal(net, at):
        return ending
    try:
        return (net.branch(at),)
    except ModelError:
        if (key(at.part), key(at.name)) in net.node_index and at.name:
            remedy = f"blame the wire, plug or part that ends at {at}"
            raise one("no-such-branch", f"{at} is no joint by itself", remedy=remedy) from None
        if at.name or key(at.part) not in net.part_branches:
            raise
        return net.part_branches[key(at.part)]


def _open(net: Network, fault: Fault, ohm: float | None) -> Changes:
    cut = _branches(net, fault.at)
    unfed = [int(b) for b, copy in net.static.refs if copy in cut]  # a reference without its supply
    opened = tuple(Change(Kind.OPEN, b) for b in (*cut, *unfed))
    if lives_by(net.circuit, fault.at) and set(cut) <= set(net.part_branches[key(fault.at.part)]):
        return (*opened, Change(Kind.MODULE_DEAD, fault.at.part))  # other wires keep its metal live
    return opened


def _series(net: Network, fault: Fault, ohm: float | None) -> Changes:
    numb = set[int]()  # a reference does not feel a poor joint of its module's supply or ground pin
    if is_pin(net.circuit, fault.at) and not is_reference(net.circuit, fault.at):
        numb = {int(b) for b in net.static.refs.flat}
    where = [b for b in _branches(net, fault.at) if b not in numb]
    return tuple(Change(Kind.SERIES, b, value=_ohm(fault, ohm)) for b in where)


def _plus(net: Network) -> Term:
    battery = next(p for p in net.circuit.parts if p.kind == "battery")
    return Term(battery.name, "+")


def _bridge(net: Network, fault: Fault, ohm: float | None) -> Changes:
    to = {"to_ground": metal(net.circuit), "to_supply": _plus(net)}.get(fault.mode, fault.to)
    if to is None:
        raise one("fault", f"{fault.at}: a leak needs a second point")
    a, b = _node(net, fault.at), _node(net, to)
    return () if a == b else (Change(Kind.BRIDGE, a, b, _ohm(fault, ohm)),)


def _stuck(net: Network, fault: Fault, ohm: float | None) -> Changes:
    kind = Kind.STUCK_ON if fault.mode == "stuck_on" else Kind.STUCK_OFF
    return (Change(kind, fault.at.part),)


def _pin_line(net: Network, fault: Fault) -> Driver | Input:
    """The driver or input blamed, by its name or its pin."""
    lines = [x for x in net.circuit.modules if key(x.module) == key(fault.at.part)]
    for kind in (Driver, Input):
        for x in lines:
            if (
                isinstance(x, (Driver, Input))
                and isinstance(x, kind)
                and key(fault.at.name) in (key(x.name), key(x.pin))
            ):
                return x
    raise one("fault", f"{label(fault.at)} is neither an output nor an input of a module")


def _dead(net: Network, fault: Fault, ohm: float | None) -> Changes:
    line = _pin_line(net, fault)
    kind = Kind.DRIVER_DEAD if isinstance(line, Driver) else Kind.INPUT_DEAD
    return (Change(kind, f"{line.module}.{line.name}"),)


def _always_on(net: Network, fault: Fault, ohm: float | None) -> Changes:
    line = _pin_line(net, fault)
    if not isinstance(line, Driver):
        raise one("fault", f"{fault.at} is an input: only an output can be always on")
    return (Change(Kind.DRIVER_ON, f"{line.module}.{line.name}"),)


def _awake(net: Network, fault: Fault, ohm: float | None) -> Changes:
    return (Change(Kind.STAYS_AWAKE, fault.at.part),)


def _module_dead(net: Network, fault: Fault, ohm: float | None) -> Changes:
    return (Change(Kind.MODULE_DEAD, fault.at.part),)


def _seized(net: Network, fault: Fault, ohm: float | None) -> Changes:
    return (Change(Kind.SEIZED, fault.at.part),)


def _has(net: Network, fault: Fault, ohm: float | None) -> Changes:
    if fault.attribute is None or fault.value is None:
        raise one("fault", f"{fault.at}: `has` needs a figure")
    return (Change(Kind.PARAM, fault.at.part, fault.attribute, fault.value),)


def _wrong_rating(net: Network, fault: Fault, ohm: float | None) -> Changes:
    part = net.part_of.get(key(fault.at.part))
    if part is None or part.kind not in ("fuse", "link"):
        raise one("fault", f"{label(fault.at)} is no fuse")
    value = fault.value if fault.value is not None else 2 * number(part, "rating_a")
    return (Change(Kind.PARAM, part.name, "rating_a", value),)


def _missing(net: Network, fault: Fault, ohm: float | None) -> Changes:
    return (Change(Kind.UNPLUG, fault.at.part),)


def _other_layout(net: Network, part: str) -> Changes:
    """A relay whose pins 30 and 86 change places (ISO 7588-1 types A and B) in the socket as wired.

    Its coil then lies between the sockets 30 and 85, its contact between the sockets 86 and 87.
    """
    socket = {pin: net.node(Term(part, pin)) for pin in ("30", "86")}
    found = []
    for b in net.part_branches[key(part)]:
        name = net.branches[b].rpartition(".")[2]
        kind = Kind.SECOND_END if name == "diode" else Kind.FIRST_END  # a diode's stripe is at 86
        found.append(Change(kind, b, socket["86" if name in ("87", "87a") else "30"]))
    return tuple(found)


def _is_layout(net: Network, fault: Fault) -> bool:
    """Pins 30 and 86 of one relay."""
    relay = any(key(r) == key(fault.at.part) for r in net.relays)
    other = fault.to
    one_part = other is not None and key(other.part) == key(fault.at.part)
    return relay and one_part and other is not None and {fault.at.name, other.name} == {"30", "86"}


def _swapped(net: Network, fault: Fault, ohm: float | None) -> Changes:
    if _is_layout(net, fault):
        return _other_layout(net, fault.at.part)
    if any(key(r) == key(fault.at.part) for r in net.relays):
        other = f" with {label(fault.to)}" if fault.to else ""
        text = f"{label(fault.at)} swapped{other}: of a relay only 30 and 86 change places"
        raise one("fault", text, remedy=f"Write `{fault.at.part}.30 swapped with {fault.at.part}.86`.")
    if fault.to is None:
        raise one(
            "fault",
            f"{label(fault.at)} swapped: with which cavity?",
            remedy="Write `X7.4 swapped with X7.5`.",
        )
    one_, two = (Term(t.part, t.name.removesuffix(".a").removesuffix(".b")) for t in (fault.at, fault.to))
    ends = [[net.node(Term(t.part, f"{t.name}.{side}")) for side in "ab"] for t in (one_, two)]
    crossed = [(ends[0][0], ends[1][1]), (ends[1][0], ends[0][1])]
    return (
        Change(Kind.OPEN, net.branch(one_)),
        Change(Kind.OPEN, net.branch(two)),
        *(Change(Kind.BRIDGE, a, b, CAVITY_OHM) for a, b in crossed if a != b),
    )


def _held(net: Network, fault: Fault, ohm: float | None) -> Changes:
    return (Change(Kind.SWITCH_HELD, fault.at.part, "open"),)


def _nothing(net: Network, fault: Fault, ohm: float | None) -> Changes:
    return ()  # the circuit is sound: belief widens the readings instead


_MODES: dict[str, Callable[[Network, Fault, float | None], Changes]] = {
    "open": _open, "resistance": _series, "to_ground": _bridge, "to_supply": _bridge, "to_point": _bridge,
    "stuck_on": _stuck, "stuck_off": _stuck, "dead": _dead, "always_on": _always_on, "stays_awake": _awake,
    "woken": _awake, "module_dead": _module_dead, "seized": _seized, "has": _has,
    "wrong_rating": _wrong_rating, "missing": _missing, "swapped": _swapped, "interlock_open": _held,
    "instrument_wrong": _nothing,
}  # fmt: skip


def changes(network: Network, fault: Fault, ohm: float | None = None) -> Changes:
    """What a fault does to a lane. `ohm` serves where the fault states no resistance of its own."""
    return _MODES[fault.mode](network, fault, ohm)
