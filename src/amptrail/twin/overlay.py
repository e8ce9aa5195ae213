"""Faults and held switches as changes to the list of elements, and to what parts may do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from amptrail.circuit import tables
from amptrail.circuit.model import Cavity, Circuit, Driver, Fault, Input, Part, Phase, Term, key
from amptrail.circuit.phases import closed, drive_cycle, position
from amptrail.circuit.pins import ending_at, is_pin, is_reference, is_wiper, lives_by
from amptrail.circuit.strap import metal
from amptrail.errors import nearest
from amptrail.twin.bench import MIN_OHM, NEVER, SERIES, Bench, Element, refuse
from amptrail.twin.elements import bench, fuse_ohm

Name = tuple[str, ...]
# what a severity nobody stated is taken to be, ohm (common practice: a bad joint, a hard chafe, a wet plug)
UNSAID_OHM = {"resistance": 1.0, "to_ground": 0.05, "to_supply": 0.05, "to_point": 0.1}
CAVITY_OHM = 0.002  # a healthy cavity (the format's own text)


@dataclass(frozen=True, slots=True)
class Held:
    """A switch held by hand: `at` is open, closed, one of its positions, or the phase it stands as in."""

    switch: str
    at: str


@dataclass
class Faulty:
    """The bench of a faulted circuit, and what is stuck, dead or driven. Names are keys."""

    bench: Bench
    stuck: dict[str, bool] = field(default_factory=dict)  # relay armature held on / off
    held: dict[Name, bool] = field(default_factory=dict)  # (switch,) or (switch, contact) held closed / open
    driven: dict[Name, bool] = field(default_factory=dict)  # (module, driver) -> always on / dead
    deaf: set[Name] = field(default_factory=set)  # (module, input) never true
    no_sleep: set[str] = field(default_factory=set)
    dead: set[str] = field(default_factory=set)

    @property
    def circuit(self) -> Circuit:
        return self.bench.circuit


def _named(b: Bench, at: Term) -> list[int]:
    k = (key(at.part), key(at.name))
    return [i for i, e in enumerate(b.out) if (key(e.branch.part), key(e.branch.name)) == k]


def first_of(b: Bench, at: Term) -> int | None:
    """Position of the element that a branch name means, None when there is none."""
    hits = _named(b, at)
    if not hits:
        other = b.alias.get((key(at.part), key(at.name)))
        hits = _named(b, other) if other is not None else []
    return hits[0] if hits else None


def find(b: Bench, at: Term) -> list[int]:
    """Positions of the branch blamed, or of every branch of a part that has none of its own name."""
    one = first_of(b, at)
    if one is not None:
        return [one]
    every = [i for i, e in enumerate(b.out) if not at.name and key(e.branch.part) == key(at.part)]
    if not every:
        known = [str(e.branch) if e.branch.name else e.branch.part for e in b.out]
        near = nearest(str(at) if at.name else at.part, known)
        raise refuse("no-branch", f"there is no branch {at}", f"Did you mean {near}?" if near else "")
    return every


def where(b: Bench, at: Term) -> list[int]:
    """Positions of what a bad joint sits in. At a module's pin that is the one element that comes to it from
    outside, else all that the module has there; at another part's terminal likewise."""
    part = next((p for p in b.circuit.parts if key(p.name) == key(at.part)), None)
    ending = ending_at(part, at.name) if part is not None else ()
    pin = is_pin(b.circuit, at)
    if not pin and not ending and not (part is not None and is_wiper(part, at.name)):
        return find(b, at)
    node = b.node(at.part, at.name)
    there = [i for i, e in enumerate(b.out) if node in (e.a, e.b, e.c)]
    outside = [i for i in there if key(b.out[i].branch.part) != key(at.part)]
    mine = [i for i in there if i not in outside]
    own = mine if pin else [i for n in ending if (i := first_of(b, Term(at.part, n))) is not None]
    if len(outside) == 1 and (pin or not own or set(mine) == set(own)):
        return outside
    return own if own or pin else find(b, at)


def part_named(circuit: Circuit, name: str) -> Part:
    """The part of that name; ModelError when there is none."""
    for p in circuit.parts:
        if key(p.name) == key(name):
            return p
    near = nearest(name, [p.name for p in circuit.parts])
    raise refuse("no-part", f"there is no part {name}", f"Did you mean {near}?" if near else "")


def _take_away(b: Bench, which: Iterable[int]) -> None:
    """Cut a branch; it stays in the list, so that a second fault of it finds it."""
    for i in which:
        b.out[i] = replace(b.out[i], gate=NEVER, rest=None)


def _series(b: Bench, at: Term, ohm: float) -> None:
    """`ohm` at end a of the branch; of a reference, at its pin."""
    for i in where(b, at):
        e = b.out[i]
        if e.law == "ref" and is_pin(b.circuit, at) and not is_reference(b.circuit, at):
            continue  # its supply is poor, which it does not feel
        if e.law == "ref":
            b.out[i] = replace(e, p=(e.p[0], e.p[1] + ohm, e.p[2]))
            continue
        name = Term(e.branch.part, e.branch.name + SERIES)
        inside = b.inner(name)
        b.out[i] = replace(e, a=inside)
        b.out.append(Element(name, "res", e.a, inside, (max(ohm, MIN_OHM), 0.0)))


def _node_of(b: Bench, t: Term) -> int:
    """The metal blamed; a cavity without a side is its side a, a part its first joined end."""
    tries = [t.name, f"{t.name}.a"] if t.name else ["", "in", "out", "+", "1", "30"]
    for name in tries:
        n = b.known(t.part, name)
        if n is not None:
            return n
    raise refuse("no-such-point", f"nothing is joined at {t}")


def _plus(circuit: Circuit) -> Term:
    return next((Term(p.name, "+") for p in circuit.parts if p.kind == "battery"), Term("", "bat+"))


def _severity(f: Fault) -> float:
    ohm = f.ohm if f.ohm is not None else UNSAID_OHM[f.mode]
    if not ohm > 0:
        raise refuse("severity", f"{ohm} ohm at {f.at} is not a resistance above zero")
    return max(ohm, MIN_OHM)


def _bridge(b: Bench, f: Fault) -> None:
    to = {"to_ground": metal(b.circuit), "to_supply": _plus(b.circuit)}.get(f.mode) or f.to
    if to is None:
        raise refuse("fault", f"{f.at}: a leak needs a second point")
    ends = _node_of(b, f.at), _node_of(b, to)
    if ends[0] != ends[1]:
        b.out.append(Element(Term("", "bridge"), "res", *ends, (_severity(f), 0.0)))


def _other_layout(b: Bench, relay: Part) -> None:
    """A relay whose pins 30 and 86 change places (ISO 7588-1 types A and B): the coil from the socket's 30
    to its 85, the contact from the socket's 86 to its 87."""
    s30, s86 = (_node_of(b, Term(relay.name, pin)) for pin in ("30", "86"))
    for i, e in enumerate(b.out):
        if key(e.branch.part) == key(relay.name):
            if e.branch.name == "diode":
                b.out[i] = replace(e, b=s30)
            else:
                b.out[i] = replace(e, a=s86 if e.branch.name in ("87", "87a") else s30)


def _swapped(b: Bench, f: Fault) -> None:
    """Two cavities with their wires changed over on side b; pins 30 and 86 of a relay: the other layout."""
    relay = next((p for p in b.circuit.parts if key(p.name) == key(f.at.part) and p.kind == "relay"), None)
    if relay is not None and f.to is not None and {f.at.name, f.to.name} == {"30", "86"}:
        return _other_layout(b, relay)
    if f.to is None:
        raise refuse("fault", f"{f.at} swapped: with which cavity?", "Write `X7.4 swapped with X7.5`.")
    one, two = (Term(t.part, t.name.removesuffix(".a").removesuffix(".b")) for t in (f.at, f.to))
    ends = [[_node_of(b, Term(t.part, f"{t.name}.{side}")) for side in "ab"] for t in (one, two)]
    _take_away(b, [*find(b, one), *find(b, two)])
    for a, z in ((ends[0][0], ends[1][1]), (ends[1][0], ends[0][1])):
        b.out.append(Element(Term("", "bridge"), "res", a, z, (CAVITY_OHM, 0.0)))


def _changed(p: Part, attribute: str, value: float) -> Part:
    """A part with one number changed; what the sheet derives from another number stays as it was."""
    given = dict(p.given)
    if attribute in ("length_m", "area_mm2"):
        given.pop("ohm", None)
    if p.kind == "fuse" and attribute == "rating_a":
        given["ohm"] = fuse_ohm(p)
    return replace(p, given=tuple(sorted({**given, attribute: value}.items())))


def with_value(circuit: Circuit, name: str, attribute: str, value: float) -> Circuit:
    """The circuit with one attribute of one part changed (faults `has`, `wrong rating`)."""
    part = part_named(circuit, name)
    tables.attribute(part.kind, attribute)
    parts = tuple(_changed(p, attribute, value) if p is part else p for p in circuit.parts)
    if part.kind not in ("connector", "box"):
        return replace(circuit, parts=parts)

    def cavity(c: Cavity) -> Cavity:
        return replace(c, ohm=value) if key(c.connector) == key(name) else c

    return replace(circuit, parts=parts, cavities=tuple(map(cavity, circuit.cavities)))


def _revalued(circuit: Circuit, f: Fault) -> Circuit:
    if f.mode == "wrong_rating":
        part = part_named(circuit, f.at.part)
        if part.kind not in ("fuse", "link"):
            raise refuse("fault", f"{f.at} is no fuse")
        value = f.value if f.value is not None else 2 * tables.number(part, "rating_a")
        return with_value(circuit, part.name, "rating_a", value)
    if f.attribute is None or f.value is None:
        raise refuse("fault", f"{f.at}: `has` needs a figure")
    return with_value(circuit, f.at.part, f.attribute, f.value)


def _dead_pin(out: Faulty, f: Fault) -> None:
    """An output that never switches on, or (where no output bears the name) an input never true."""
    lines = [x for x in out.circuit.modules if key(x.module) == key(f.at.part)]
    told = key(f.at.name)
    for x in lines:
        if isinstance(x, Driver) and told in (key(x.name), key(x.pin)):
            out.driven[(key(x.module), key(x.name))] = f.mode == "always_on"
            return
    for x in lines:
        if isinstance(x, Input) and told in (key(x.name), key(x.pin)) and f.mode == "dead":
            out.deaf.add((key(x.module), key(x.name)))
            return
    raise refuse("fault", f"{f.at} is no output of {f.at.part} that could be {f.mode.replace('_', ' ')}")


def _stuck(out: Faulty, f: Fault) -> None:
    part = part_named(out.circuit, f.at.part)
    on = f.mode == "stuck_on"
    if part.kind == "switch":
        hold(out, Held(part.name, "closed" if on else "open"))
    else:
        out.stuck[key(part.name)] = on


def hold(out: Faulty, h: Held) -> None:
    """A switch held open, closed, in a position, or as it is in a phase."""
    part = part_named(out.circuit, h.switch)
    if part.kind != "switch":
        raise refuse("not-a-switch", f"{part.name} is a {part.kind} and cannot be held")
    at = key(h.at)
    phase = next((p for p in drive_cycle(out.circuit) if key(p.name) == at), None)
    known = {key(x) for c in part.contacts for x in c.at} | {key(x) for x in positions(part)}
    if at not in ("open", "closed") and phase is None and at not in known:
        raise refuse("no-such-position", f"switch {part.name} has no position {h.at}")
    for c in part.contacts or (None,):
        name = (key(part.name),) if c is None else (key(part.name), key(f"{c.a}-{c.b}"))
        if at in ("open", "closed"):
            out.held[name] = at == "closed"
        elif phase is not None:
            out.held[name] = switch_made(out.circuit, part, name, phase)
        elif c is not None:
            out.held[name] = at in {key(x) for x in c.at}


def positions(part: Part) -> tuple[str, ...]:
    """The positions of a switch, in the order the sheet names them."""
    stated = tables.value(part, "positions")
    named = stated if isinstance(stated, tuple) else ()
    return tuple(dict.fromkeys((*named, *(x for c in part.contacts for x in c.at))))


def switch_made(circuit: Circuit, part: Part, name: Name, phase: Phase | None) -> bool:
    """Whether a switch, or one contact of it, is closed by itself in a phase (None: vehicle off)."""
    if not part.contacts:
        return closed(circuit, part, phase)
    known = positions(part)
    off = next((x for x in known if key(x) == "off"), known[0])
    at = position(circuit, part.name, known, phase) if phase else off
    contact = next(c for c in part.contacts if key(f"{c.a}-{c.b}") == key(name[1]))
    return key(at) in {key(x) for x in contact.at}


def switches_in(circuit: Circuit, phase: Phase) -> dict[Name, bool]:
    """Every switch, and every contact of one, as it stands by itself in a phase."""
    found: dict[Name, bool] = {}
    for p in (p for p in circuit.parts if p.kind == "switch"):
        for c in p.contacts or (None,):
            name = (key(p.name),) if c is None else (key(p.name), key(f"{c.a}-{c.b}"))
            found[name] = switch_made(circuit, p, name, phase)
    return found


def _one(out: Faulty, f: Fault) -> None:
    b, part = out.bench, key(f.at.part)
    match f.mode:
        case "open":
            cut = where(b, f.at)
            if lives_by(b.circuit, f.at) and all(key(b.out[i].branch.part) == part for i in cut):
                out.dead.add(part)  # other wires keep its metal live
            _take_away(b, cut)
        case "missing":
            _take_away(b, [i for i, e in enumerate(b.out) if key(e.branch.part) == part])
            out.dead.add(part)
        case "resistance":
            _series(b, f.at, _severity(f))
        case "to_ground" | "to_supply" | "to_point":
            _bridge(b, f)
        case "swapped":
            _swapped(b, f)
        case "stuck_on" | "stuck_off":
            _stuck(out, f)
        case "interlock_open":
            hold(out, Held(f.at.part, "open"))
        case "dead" | "always_on":
            _dead_pin(out, f)
        case "stays_awake" | "woken":
            out.no_sleep.add(part)
        case "module_dead":
            out.dead.add(part)
        case "seized":
            for i in find(b, f.at):
                if b.out[i].law != "motor":
                    raise refuse("not-a-motor", f"{f.at} is no motor")
                b.out[i] = replace(b.out[i], law="res", p=(b.out[i].p[0], 0.0))
        case "has" | "wrong_rating" | "instrument_wrong":
            pass  # numbers are changed before the bench is built; a wrong instrument changes no circuit


def overlay(circuit: Circuit, faults: Iterable[Fault], held: Iterable[Held] = ()) -> Faulty:
    """The bench of the circuit with every fault fitted."""
    several = tuple(faults)
    for f in several:
        if f.mode in ("has", "wrong_rating"):
            circuit = _revalued(circuit, f)
    out = Faulty(bench(circuit))
    for f in several:
        _one(out, f)
    for h in held:
        hold(out, h)
    return out
