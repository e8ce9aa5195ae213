"""Circuit -> oracle format. Kinds the format lacks become the kind with the equal law, or are refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from amptrail.circuit import tables
from amptrail.circuit.model import BODY, Cavity, Circuit, Feed, Must, Part, Point, Term, key
from amptrail.circuit.phases import drive_cycle, meant, position, seconds, turning
from amptrail.circuit.wiring import wiring
from amptrail.errors import one
from amptrail.exchange.oracle_faults import branch_out, contact_names, faults_out
from amptrail.exchange.oracle_modules import module_out, pick
from amptrail.exchange.oracle_words import KIND_OUT, NUMBERS, TERMINALS, Json
from amptrail.reference.fuse import cold_ohm

NetOf = Callable[[Term], str]
# kinds of the model whose law is a plain resistance, and so a `load` here
RESISTIVE = ("solenoid", "heater", "sensor", "resistor")


def net_namer(circuit: Circuit) -> NetOf:
    """The name of the net a terminal is on: its `net` line's, else made from its first terminal. The posts of
    the first battery, to which all volts refer, have names of their own in the format."""
    w = wiring(circuit)
    fixed: dict[int, str] = {}
    for p in [p for p in circuit.parts if p.kind == "battery"][:1]:
        fixed[w.node(Term(p.name, "+"))] = "bat+"  # type: ignore[index]
        fixed[w.node(Term(p.name, "-"))] = "bat-"  # type: ignore[index]
    fixed.setdefault(w.node(BODY), "body")  # type: ignore[arg-type]

    def name(term: Term) -> str:
        n = w.node(term)
        if n is None:
            return str(term)  # a terminal nothing is joined to: a net of its own
        return w.net_names[n][0] if w.net_names[n] else fixed.get(n, str(w.names[n]))

    return name


def _numbers(p: Part, kind: str, laws: str) -> Json:
    """What the sheet says; under the amptrail laws also its defaults, as the format has few of its own."""
    out: Json = {}
    wire_said = [a for a in ("ohm", "area_mm2", "length_m") if p.said(a) is not None]
    for word, attribute in NUMBERS[kind].items():
        got = p.said(attribute)
        if got is None and laws != "oracle-1":
            got = tables.value(p, attribute)
            if kind == "wire" and ("ohm" in wire_said) != (attribute == "ohm"):
                continue
        if got is not None:
            out[word] = got
    if kind == "fuse" and "ohm" not in out:
        out["ohm"] = cold_ohm(tables.number(p, "rating_a"))
    return out


def _heater_ohm(p: Part) -> float:
    got = tables.value(p, "ohm")
    if isinstance(got, (int, float)):
        return float(got)
    return tables.number(p, "rated_v") ** 2 / tables.number(p, "rated_w")


def phase_names(circuit: Circuit, said: Iterable[str]) -> list[str]:
    """Phases of the plan: a base stands for all that stand on it; `off` and what is unknown stay as they
    are."""
    return list(dict.fromkeys(n for s in said for n in [p.name for p in meant(circuit, s)] or [s]))


def _special(circuit: Circuit, p: Part, phases: tuple[str, ...]) -> Json:
    out: Json = {}
    if p.kind == "battery" and p.said("crank_ohm") is not None:
        said = p.said("spins_in")
        turns = phase_names(circuit, said) if isinstance(said, tuple) else list(phases)
        out["crank_load"] = {"phases": turns, "ohm": p.said("crank_ohm")}
    if p.kind == "switch":
        if tables.value(p, "positions") and not p.contacts:
            raise one("oracle-switch", f"switch {p.name}: no contact of it is said")
        said = p.said("closed_in")
        out["closed_in"] = phase_names(circuit, said) if isinstance(said, tuple) else []
    if p.kind == "alternator":
        said = p.said("spins_in")
        spins = [x.name for x in drive_cycle(circuit) if turning(circuit, p, x)]
        out["spin_in"] = phase_names(circuit, said) if isinstance(said, tuple) else spins
    if p.kind == "relay":
        quench = p.said("suppressed")
        if quench == "resistor":
            raise one("oracle-relay", f"relay {p.name}: this format has no resistor across the coil")
        if quench is not None:
            out["coil_diode"] = quench == "diode"
    if p.kind == "ground" and p.said("to") is not None:
        out["to"] = p.said("to")
    if p.kind == "joint" and p.text and p.text.count("/") == 1:
        out["connector"], out["cavity"] = p.text.split("/")
    return out


def _legs(circuit: Circuit, name: str) -> list[str]:
    """The leg numbers of a splice or ground that paths and nets mention, ascending."""
    terms = [t for n in circuit.nets for t in n.terms]
    for path in circuit.paths:
        for h in path.hops:
            terms += [Term(h.part, h.a), Term(h.part, h.b)]
    return sorted({t.name for t in terms if key(t.part) == key(name) and t.name.isdigit()}, key=int)


def _mentioned(circuit: Circuit) -> set[tuple[str, str]]:
    return set(wiring(circuit).node_of)


def part_out(circuit: Circuit, p: Part, net_of: NetOf, joined: set[tuple[str, str]]) -> Json:
    """One part as a dict of the format."""
    if p.kind == "module":
        return module_out(circuit, p.name, net_of)
    kind = "load" if p.kind in RESISTIVE else "fuse" if p.kind == "link" else KIND_OUT.get(p.kind)
    if kind is None:
        raise one(
            "oracle-kind", f"{p.kind} {p.name}: this format has no part of that law", expected=tuple(NUMBERS)
        )
    out: Json = {"id": p.name, "kind": kind}
    if p.kind == "heater":
        out["ohm"] = _heater_ohm(p)
    else:
        out |= _numbers(p, kind, circuit.laws)
    if kind == "load" and "ohm" not in out:
        out["ohm"] = tables.number(p, "ohm")
    cranking = tuple(x.name for x in drive_cycle(circuit) if x.base == "cranking")
    out |= _special(circuit, p, cranking)
    if kind in ("splice", "ground"):
        return out | {"nets": [net_of(Term(p.name, leg)) for leg in _legs(circuit, p.name)]}
    for word, terminal in TERMINALS[kind].items():
        if word in ("no", "nc", "dplus") and (key(p.name), key(terminal)) not in joined:
            continue
        out[word] = net_of(Term(p.name, terminal))
    return out


def _cavity_out(circuit: Circuit, c: Cavity, net_of: NetOf) -> Json:
    owner = next(
        (p for p in circuit.parts if key(p.name) == key(c.connector)), Part("connector", c.connector)
    )
    ohm = c.ohm if c.ohm is not None else tables.number(owner, "ohm")
    return {
        "id": f"{c.connector}/{c.name}", "kind": "pin", "ohm": ohm,
        "connector": c.connector, "cavity": c.name,
        "a": net_of(Term(c.connector, f"{c.name}.a")), "b": net_of(Term(c.connector, f"{c.name}.b")),
    }  # fmt: skip


def _contacts_out(circuit: Circuit, p: Part, net_of: NetOf) -> dict[str, Json]:
    """A switch with positions as one plain switch a contact, closed in the phases whose position makes it."""
    order = tuple(dict.fromkeys((*_positions(p), *(x for c in p.contacts for x in c.at))))
    stands = {x.name: key(position(circuit, p.name, order, x)) for x in drive_cycle(circuit)}
    out = {}
    for c in p.contacts:
        made = {key(x) for x in c.at}
        name = f"{p.name}.{c.a}-{c.b}"
        ends = {"a": net_of(Term(p.name, c.a)), "b": net_of(Term(p.name, c.b))}
        closed = [x for x, at in stands.items() if at in made]
        plain = {"id": name, "kind": "switch", **_numbers(p, "switch", circuit.laws), "closed_in": closed}
        out[key(name)] = plain | ends
    return out


def _positions(p: Part) -> tuple[str, ...]:
    said = tables.value(p, "positions")
    return said if isinstance(said, tuple) else ()


def _parts(circuit: Circuit, net_of: NetOf) -> list[Json]:
    joined = _mentioned(circuit)
    plain = [p for p in circuit.parts if p.kind not in ("connector", "box") and not p.contacts]
    found = {key(p.name): part_out(circuit, p, net_of, joined) for p in plain}
    for p in circuit.parts:
        found |= _contacts_out(circuit, p, net_of) if p.contacts else {}
    found |= {key(f"{c.connector}.{c.name}"): _cavity_out(circuit, c, net_of) for c in circuit.cavities}
    ordered = [found.pop(key(name)) for name in circuit.order if key(name) in found]
    return ordered + list(found.values())


def _point(circuit: Circuit, p: Point, net_of: NetOf) -> Json:
    if p.what == "amps":
        return {"id": p.name, "clamp": True, "branch": branch_out(circuit, p.a)}
    return pick({"id": p.name, "net": net_of(p.a), "ref": net_of(p.b) if p.b else None})


def _function(circuit: Circuit, m: Must, net_of: NetOf) -> Json:
    return pick(
        {
            "id": m.name,
            "a": net_of(m.a) if m.a else None,
            "b": net_of(m.b) if m.b else None,
            "signal": f"{m.module}.{m.signal}" if m.module else None,
            "min_v": m.min_v,
            "on": phase_names(circuit, m.on),
            "off": phase_names(circuit, m.off),
            "max_off_v": m.max_off_v,
        }
    )


def _jumper(circuit: Circuit, f: Feed, net_of: NetOf) -> Json:
    """A feed's own nets keep the names they were given; its other points take the circuit's."""
    nets = {(key(t.part), key(t.name)): n.name for n in f.nets for t in n.terms}
    fed = Circuit(parts=f.parts, paths=f.paths, nets=f.nets, laws=circuit.laws)
    inside = net_namer(fed)

    def name(t: Term) -> str:
        return nets.get((key(t.part), key(t.name))) or (net_of(t) if not t.part else inside(t))

    joined = _mentioned(fed)
    cuts = [branch_out(circuit, _term(circuit, c)) for c in f.cuts]
    against = [y for x in f.against for y in faults_out(circuit, x, net_of)]
    extra = [part_out(fed, p, name, joined) for p in f.parts]
    return pick({"id": f.name, "text": f.text, "base_fault": against, "extra": extra, "cut": cuts})


def _term(circuit: Circuit, name: str) -> Term:
    if any(key(p.name) == key(name) for p in circuit.parts):
        return Term(name, "")
    part, _, rest = name.partition(".")
    return Term(part, rest)


def _milli(amps: float) -> float:
    """A -> mA without the dust of a division by 1000 (0.035 A is 35 mA, not 35.000000000000004)."""
    return float(f"{amps * 1000:.12g}")


def from_circuit(circuit: Circuit) -> Json:
    """The dict of `oracle-circuit-1`; InputError names the part the format cannot say."""
    net_of = net_namer(circuit)
    out: Json = {
        "format": "oracle-circuit-1", "name": circuit.name, "title": circuit.title, "notes": circuit.notes,
        "plan": [
            {"phase": p.name, "base": p.base.replace("-", "_"), "s": seconds(p)} for p in drive_cycle(circuit)
        ],
        "parts": _parts(circuit, net_of),
        "points": [_point(circuit, p, net_of) for p in circuit.points if p.what != "ohms"],
        "ohm_points": [_point(circuit, p, net_of) for p in circuit.points if p.what == "ohms"],
        "functions": [_function(circuit, m, net_of) for m in circuit.musts],
        "faults": [
            pick(
                {
                    "id": f.name,
                    "text": f.text,
                    "set": [y for x in f.faults for y in faults_out(circuit, x, net_of)],
                }
            )
            for f in circuit.faults
        ],
        "interlocks": [
            {"switch": name, "function": i.function}
            for i in circuit.interlocks
            for name in contact_names(circuit, i.switch)
        ],
        "jumpers": [_jumper(circuit, f, net_of) for f in circuit.feeds],
    }  # fmt: skip
    for draw in circuit.draws[:1]:
        out["sleep_ma_max"] = _milli(draw.max_a)
    return out
