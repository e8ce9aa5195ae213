"""Oracle format -> Circuit: parts with their nets as `net` lines, pins as cavities, jumpers as feeds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, cast

from amptrail.circuit.model import (
    Base,
    Cavity,
    Circuit,
    Draw,
    Fault,
    Feed,
    Interlock,
    Must,
    NamedFault,
    Net,
    Part,
    Phase,
    Point,
    Term,
    Value,
    key,
)
from amptrail.circuit.phases import sleeping
from amptrail.errors import nearest, one
from amptrail.exchange.oracle_faults import branch_in, fault_in
from amptrail.exchange.oracle_modules import module_in
from amptrail.exchange.oracle_words import KIND_IN, NUMBERS, TERMINALS, Json, is_cavity

BASES = ("asleep", "awake", "ignition_on", "cranking", "running", "after_run")
POINTS = (("points", "volts"), ("ohm_points", "ohms"))
Joins = list[tuple[str, Term]]  # (net, terminal), in the order of the parts


def _given(p: Json, cranking: tuple[str, ...] = ()) -> tuple[tuple[str, Value], ...]:
    kind = p["kind"]
    out: dict[str, Value] = {attr: p[k] for k, attr in NUMBERS[kind].items() if k in p}
    if kind == "switch":
        out |= {"closed_in": tuple(p["closed_in"])} if p["closed_in"] else {"never": True}
    if kind == "alternator" and "spin_in" in p:
        out["spins_in"] = tuple(p["spin_in"])
    if kind == "relay" and "coil_diode" in p:
        out["suppressed"] = "diode" if p["coil_diode"] else "none"
    if kind == "battery" and (crank := p.get("crank_load", {"phases": ()}))["phases"]:
        out["crank_ohm"] = crank["ohm"]
        if tuple(crank["phases"]) != cranking:
            out["spins_in"] = tuple(crank["phases"])
    if kind == "ground" and "to" in p:
        out["to"] = p["to"]
    return tuple(sorted(out.items()))


def part_in(p: Json, cranking: tuple[str, ...] = ()) -> Part:
    """One part that is not a cavity; `cranking`: the phases on that base. A pin's odd connector and cavity
    are kept as the text `X1/17`."""
    if p.get("kind") not in KIND_IN:
        raise one(
            "oracle-kind",
            f"part {p.get('id')}: kind {p.get('kind')!r} is not of this format",
            expected=tuple(KIND_IN),
            nearest=nearest(str(p.get("kind")), tuple(KIND_IN)),
        )
    text = f"{p['connector']}/{p['cavity']}" if p["kind"] == "pin" and "connector" in p else None
    return Part(KIND_IN[p["kind"]], p["id"], _given(p, cranking), text=text)


def joins(p: Json) -> Joins:
    """The terminals of a part (not a module) and the net each is on."""
    if p["kind"] in ("splice", "ground"):
        return [(net, Term(p["id"], str(i + 1))) for i, net in enumerate(p["nets"])]
    if is_cavity(p):
        return [(p[k], Term(p["connector"], f"{p['cavity']}.{k}")) for k in ("a", "b")]
    return [(p[k], Term(p["id"], t)) for k, t in TERMINALS[p["kind"]].items() if k in p]


def nets_of(found: Joins) -> tuple[Net, ...]:
    """Net lines in the order nets are first met; two nets spelled alike are refused."""
    nets: dict[str, list[Term]] = {}
    spelled: dict[str, str] = {}
    for net, term in found:
        if spelled.setdefault(key(net), net) != net:
            raise one("oracle-net", f"nets {net} and {spelled[key(net)]} differ only in case or by - and _")
        nets.setdefault(net, []).append(term)
    return tuple(Net(n, tuple(terms)) for n, terms in nets.items())


def _phase(p: Json) -> Phase:
    if p.get("base") not in BASES:
        raise one("oracle-base", f"phase {p.get('phase')}: unknown base {p.get('base')!r}", expected=BASES)
    return Phase(p["phase"], cast(Base, p["base"].replace("_", "-")), p.get("s"))


def _point(p: Json, what: str, ids: Mapping[str, Json]) -> Point:
    if p.get("clamp"):
        return Point(p["id"], "amps", branch_in(p["branch"], ids))
    ref = Term("", p["ref"]) if "ref" in p else None
    return Point(p["id"], "ohms" if what == "ohms" else "volts", Term("", p["net"]), ref)


def _must(f: Json) -> Must:
    module, _, signal = f.get("signal", "").partition(".")
    return Must(
        f["id"],
        Term("", f["a"]) if "a" in f else None,
        Term("", f["b"]) if "b" in f else None,
        module or None,
        signal or None,
        f.get("min_v"),
        tuple(f.get("on", ())),
        f.get("max_off_v"),
        tuple(f.get("off", ())),
    )


def _interlocks(i: Json, d: Json) -> Iterator[Interlock]:
    """The format names no keys for an interlock: whichever value is a part is the switch, and those that are
    functions are what it guards (one or a list)."""
    values = [x for v in i.values() for x in (v if isinstance(v, list) else [v])]
    switches = [i["switch"]] if "switch" in i else [p["id"] for p in d["parts"] if p["id"] in values]
    known = [f["id"] for f in d.get("functions", [])]
    functions = [i["function"]] if "function" in i else [f for f in known if f in values]
    if not switches or not functions:
        names = "its values are neither a part nor a function" if not switches else "it names no function"
        raise one("oracle-interlock", f"interlock {i}: {names}", expected=("switch", "function"))
    for s in switches:
        for f in functions:
            yield Interlock(s, f)


def _faults(several: list[Json], parts: Mapping[str, Json]) -> tuple[Fault, ...]:
    return tuple(fault_in(f, parts) for f in several)


def _feed(j: Json, parts: Mapping[str, Json]) -> Feed:
    return Feed(
        j["id"],
        j.get("text"),
        _faults(j.get("base_fault", []), parts),
        tuple(part_in(p) for p in j.get("extra", [])),
        (),
        nets_of([x for p in j.get("extra", []) for x in joins(p)]),
        tuple(str(branch_in(c, parts)).removesuffix(".") for c in j.get("cut", [])),
    )


def to_circuit(d: Json) -> Circuit:
    """The circuit an `oracle-circuit-1` dict describes. Raises InputError for anything it cannot say."""
    try:
        return _to_circuit(d)
    except (KeyError, TypeError, AttributeError, ValueError) as e:
        raise one("oracle-shape", f"not a circuit of this format: {type(e).__name__} at {e}") from e


def _parts(
    parts: list[Json], cranking: tuple[str, ...]
) -> tuple[list[Part], list[Cavity], list[str], Joins, list[Any]]:
    """Parts, cavities, their common order, what is joined, module lines."""
    out: list[Part] = []
    cavities: list[Cavity] = []
    order: list[str] = []
    found: Joins = []
    lines: list[Any] = []
    declared: set[str] = set()
    for p in parts:
        if is_cavity(p):
            if p["connector"] not in declared:
                declared.add(p["connector"])
                out.append(Part("connector", p["connector"]))
                order.append(p["connector"])
            cavities.append(Cavity(p["connector"], str(p["cavity"]), p.get("ohm")))
            order.append(f"{p['connector']}.{p['cavity']}")
        else:
            out.append(part_in(p, cranking))
            order.append(p["id"])
        if p["kind"] == "module":
            more, at = module_in(p)
            lines += more
            found += at
        else:
            found += joins(p)
    return out, cavities, order, found, lines


def _draws(d: Json, circuit: Circuit) -> tuple[Draw, ...]:
    if "sleep_ma_max" not in d:
        return ()
    return (Draw(sleeping(circuit).name, d["sleep_ma_max"] / 1000),)


def _to_circuit(d: Json) -> Circuit:
    if d.get("format") != "oracle-circuit-1":
        said = "it says no format" if d.get("format") is None else f"its format is {d['format']!r}"
        raise one("oracle-format", f"this is no circuit of the neutral format: {said}",
                  expected=("oracle-circuit-1",), remedy='give it "format": "oracle-circuit-1"')  # fmt: skip
    phases = tuple(_phase(p) for p in d["plan"])
    cranking = tuple(p.name for p in phases if p.base == "cranking")
    by_id = {p["id"]: p for p in d["parts"]}
    if len(by_id) != len(d["parts"]):
        raise one("oracle-id", "two parts have the same id")
    parts, cavities, order, found, lines = _parts(d["parts"], cranking)
    bare = Circuit(phases=phases)
    return Circuit(
        title=d.get("title", ""),
        name=d.get("name", ""),
        notes=d.get("notes", ""),
        laws="oracle-1",
        phases=phases,
        parts=tuple(parts),
        cavities=tuple(cavities),
        order=tuple(order),
        nets=nets_of(found),
        modules=tuple(lines),
        points=tuple(_point(p, w, by_id) for k, w in POINTS for p in d.get(k, [])),
        musts=tuple(_must(f) for f in d.get("functions", [])),
        interlocks=tuple(x for i in d.get("interlocks", []) for x in _interlocks(i, d)),
        draws=_draws(d, bare),
        faults=tuple(
            NamedFault(f["id"], f.get("text"), _faults(f["set"], by_id)) for f in d.get("faults", [])
        ),
        feeds=tuple(_feed(j, by_id) for j in d.get("jumpers", [])),
    )
