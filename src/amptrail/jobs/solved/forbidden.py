"""Where a lead may not go, and where only a meter may: by the metal, and by the whole run of wire behind it.

A test lamp on a 5 V line is as harmful at the next plug as at the module's own pin, so what is said of a pin
holds along its run: wires, joints, cavities and splices, up to the first fuse, switch, relay or load.
Sources: JOB.md section 1.6 ("test lamp on module outputs, 5 V lines, airbag and bus wires: do not").
"""

from __future__ import annotations

from functools import lru_cache

from amptrail.circuit.model import BusPin, Circuit, Driver, Input, Part, Reference, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.faults.metal import touching

RUN_KINDS = ("wire", "joint")
FUSES = ("fuse", "link", "polyfuse")
UNTOUCHED = ("restraint", "high-voltage")  # classes no lead goes near


@lru_cache(maxsize=64)
def runs(circuit: Circuit) -> tuple[int, ...]:
    """For every node the number of its run of wire (nodes of one run share it)."""
    w = wiring(circuit)
    run = list(range(len(w.names)))

    def find(n: int) -> int:
        while run[n] != n:
            run[n] = run[run[n]]
            n = run[n]
        return n

    def join(a: Term, b: Term) -> None:
        na, nb = w.node(a), w.node(b)
        if na is not None and nb is not None:
            run[find(na)] = find(nb)

    for p in circuit.parts:
        if p.kind in RUN_KINDS:
            join(Term(p.name, "in"), Term(p.name, "out"))
        elif p.kind == "splice":
            legs = [n for (part, _), n in w.node_of.items() if part == key(p.name)]
            for n in legs[1:]:
                run[find(n)] = find(legs[0])
    for c in circuit.cavities:
        join(Term(c.connector, f"{c.name}.a"), Term(c.connector, f"{c.name}.b"))
    return tuple(find(n) for n in range(len(run)))


@lru_cache(maxsize=64)
def _own_leads(circuit: Circuit) -> tuple[frozenset[int], frozenset[int]]:
    """Metals of the leads that end at a part of a class no lead goes near, as far as copper follows copper
    and nothing else hangs on it; and the fuses' own metals at their ends, where a meter may be held."""
    untouched = [key(r.part) for r in circuit.refuses if r.refuse_class in UNTOUCHED]
    w = wiring(circuit)
    pins = {n for t in w.terms if key(t.part) in untouched and (n := w.node(t)) is not None}
    at = {n: [p for p in touching(circuit).get(n, ()) if key(p.name) not in untouched] for n in pins}
    todo: list[tuple[int, str | None]] = [(n, None) for n in sorted(pins) if len(at[n]) <= 1]
    lead, ends = set[int](), set[int]()
    while todo:
        n, came = todo.pop()
        on = [p for p in touching(circuit).get(n, ()) if key(p.name) not in (*untouched, came)]
        if n in lead or len(on) > 1 or any(p.kind not in (*RUN_KINDS, "connector") for p in on):
            if len(on) == 1 and on[0].kind in FUSES:
                ends.add(n)
            continue
        lead.add(n)
        todo += [(far, key(p.name)) for p in on if (far := _across(circuit, p, n)) is not None]
    return frozenset(lead), frozenset(ends - lead)


def _across(circuit: Circuit, part: Part, node: int) -> int | None:
    """The metal at the other end of a wire, a joint or a cavity."""
    w = wiring(circuit)
    pairs = [(f"{c.name}.a", f"{c.name}.b") for c in circuit.cavities if key(c.connector) == key(part.name)]
    for ends in pairs if part.kind == "connector" else [("in", "out")]:
        one, two = (w.node(Term(part.name, t)) for t in ends)
        if node in (one, two):
            return two if node == one else one
    return None


@lru_cache(maxsize=64)
def _meter_only(circuit: Circuit) -> frozenset[int]:
    """Runs that end at an electronic pin (output, reference, bus, input fed by the module) or at a point
    marked as not to be probed."""
    w, run = wiring(circuit), runs(circuit)
    ends = [line.at for line in circuit.never_probe]
    for x in circuit.modules:
        if isinstance(x, (BusPin, Driver, Reference)) or (
            isinstance(x, Input) and x.pull in ("volts", "supply")
        ):
            ends.append(Term(x.module, x.pin))
    nodes = [w.node(t) for t in ends]
    return frozenset(run[n] for n in nodes if n is not None)


def never(circuit: Circuit, term: Term) -> bool:
    """Whether no lead may touch this metal: marked so in the sheet, or a part of a class nobody probes."""
    w = wiring(circuit)
    here = w.node(term)
    for line in circuit.never_probe:
        same = here is not None and w.node(line.at) == here
        if same or (key(line.at.part) == key(term.part) and key(line.at.name) in ("", key(term.name))):
            return True
    return untouched(circuit, term)


def untouched(circuit: Circuit, term: Term) -> bool:
    """Whether this is metal of a part of a class no lead goes near, or of the leads to it."""
    w = wiring(circuit)
    here = w.node(term)
    if any(key(r.part) == key(term.part) and r.refuse_class in UNTOUCHED for r in circuit.refuses):
        return True
    lead, _ = _own_leads(circuit)
    plug = [w.node(t) for t in w.terms if key(t.part) == key(term.part)] if not term.name else []
    return here in lead or any(n in lead for n in plug)


def meter_only(circuit: Circuit, term: Term) -> bool:
    """Whether an instrument that draws current (lamp, LED, loaded lead) may not touch this metal."""
    part = next((p for p in circuit.parts if key(p.name) == key(term.part)), None)
    n = wiring(circuit).node(term)
    on_run = n is not None and (runs(circuit)[n] in _meter_only(circuit) or n in _own_leads(circuit)[1])
    return on_run or (part is not None and part.kind in ("module", "sensor", "pot"))
