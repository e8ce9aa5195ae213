"""Readings of last resort for a line that nothing else shows: the ohmmeter with the battery off, millivolts
across one element, a lamp in the place of a fuse.

An ohmmeter finds a bad contact at rest as good (JOB.md section 0: it misled 4 of 37), so what can be read
under load is read so; a short behind a blown fuse, a wire that nothing feeds can be read without power only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from amptrail.circuit.model import Circuit, Fault, Part, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.wiring import wiring
from amptrail.jobs.judging.bypasses import in_fuse_place
from amptrail.jobs.judging.claims import Demand, terminals
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.solved.access import Access, place_of_part, touchable
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.forbidden import never, runs
from amptrail.jobs.solved.spots import Spot, battery_minus, battery_plus

Cases = Sequence[tuple[Fault, ...]]
PLAIN = Conditions()
MOST_ELEMENTS = 12  # whose two ends are read


def _ways(circuit: Circuit) -> dict[int, Access]:
    """For each metal the quickest way to touch it with everything plugged together."""
    best: dict[int, Access] = {}
    for a in touchable(circuit):
        if a.relay_out is None and a.how != "pierce" and not never(circuit, a.term):
            known = best.get(a.node)
            if known is None or a.minutes < known.minutes:
                best[a.node] = a
    return best


def _ohms(a: Access, b: Term, c: Conditions = PLAIN) -> Candidate:
    return Candidate(Spot(str(a.term), "ohms", a.term, b), "ohmmeter", 0, c, a.place, a.minutes, a.how)


def _ends(circuit: Circuit, part: Part, cases: Cases) -> list[tuple[Term, Term]]:
    """The two ends of what is blamed and of what may be wrong instead."""
    spots = dict.fromkeys([Term(part.name, ""), *(f.at for c in cases for f in c)])
    found = [terminals(circuit, at) for at in list(spots)[:MOST_ELEMENTS]]
    return [(t[0], t[1]) for t in found if len(t) == 2]


def last_resort(circuit: Circuit, d: Demand, part: Part, cases: Cases) -> Iterator[Candidate]:
    """Every such reading worth trying for a demand on a part; `cases`: counter-cases still open."""
    ways, w, run = _ways(circuit), wiring(circuit), runs(circuit)
    minus, plus = battery_minus(circuit), battery_plus(circuit)
    here = w.node(d.at) if d.at is not None else None
    mine = [a for n, a in ways.items() if d.at is None or n == here]
    for m in mine:
        yield from (_ohms(m, end) for end in (minus, plus) if m.node != w.node(end))
        if here is not None:  # along the wire: is it whole?
            along = [x for n, x in ways.items() if run[n] == run[here] and n != here]
            yield from (_ohms(m, x.term) for x in along)
        if d.at is not None and part.kind == "module":
            yield _ohms(m, minus, Conditions(unplugged=(part.name,)))
    phases = range(len(drive_cycle(circuit)))

    def way(t: Term) -> Access | None:
        n = w.node(t)
        return None if n is None else ways.get(n)

    for x, y in _ends(circuit, part, cases):
        a, b = way(x), way(y)
        if a is not None and b is not None:
            yield _ohms(a, b.term)
            spot = Spot(str(a.term), "volts", a.term, b.term)
            yield from (Candidate(spot, "meter", p, PLAIN, a.place, a.minutes * 1.5, a.how) for p in phases)
    if part.kind == "fuse":
        out, home = Term(part.name, "out"), place_of_part(circuit, part)
        behind = way(out)
        if behind is not None:
            yield _ohms(behind, minus, Conditions(pulled=(part.name,)))
        for bypass in in_fuse_place(circuit, part):
            at = Spot(str(bypass.meter_at), "volts", bypass.meter_at or out)
            yield from (
                Candidate(at, "meter", p, bypass.conditions, home, bypass.minutes, bypass.how, "bypass")
                for p in phases
            )


def same_run(circuit: Circuit, a: Term, b: Term) -> bool:
    """Whether two points lie on one run of wire: what one reads the other reads, but for the wire."""
    n, m = wiring(circuit).node(a), wiring(circuit).node(b)
    return n is not None and m is not None and runs(circuit)[n] == runs(circuit)[m]


def beside(circuit: Circuit, at: Term) -> Access | None:
    """The quickest point to touch on the run of a pin that no lead may touch itself."""
    found = [a for a in _ways(circuit).values() if same_run(circuit, a.term, at)]
    return min(found, key=lambda a: (a.minutes, key(str(a.term))), default=None)
