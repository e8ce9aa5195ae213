"""`trail`: the path a current takes through a point, from source to ground."""

from __future__ import annotations

from amptrail.circuit.model import Term, key
from amptrail.circuit.tables import KINDS
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.faultnames import named_or_text
from amptrail.jobs.expect import pick_phases
from amptrail.jobs.solved.feeds import fitted
from amptrail.jobs.solved.flow import Edge, trails
from amptrail.jobs.solved.session import Session, session
from amptrail.jobs.solved.spots import battery_minus, canonical, spot

SOURCES = ("battery", "alternator")
assert set(SOURCES) <= set(KINDS)


def trail(sheet_text: str, at: str, phase: str, fault: tuple[str, ...] = (), feed: str | None = None) -> Json:
    """Trails through a point in a phase, with amps and share (docs/json.md, trail)."""
    sheet = load(sheet_text)
    circuit = fitted(sheet.circuit, feed)
    where = spot(circuit, at)
    (index,) = pick_phases(circuit, (phase,))
    ready = session(circuit)
    faults = tuple(f for text in fault for f in named_or_text(circuit, text))
    runs = ready.run([ready.lane(faults)], "asleep", 2, [index])
    network = ready.network
    sources = {key(p.name) for p in circuit.parts if p.kind in SOURCES}
    amps, lanes = runs.snapshot.amps[0, 0], runs.lanes
    edges = [
        Edge(network.branches[b] if b < len(network.branches) else "fault", int(lanes.na[0, b]),
             int(lanes.nb[0, b]),
             float(amps[b]), b < len(network.branches) and key(network.branches[b]) in sources)
        for b in range(len(amps))
    ]  # fmt: skip
    node = network.node(where.a) if where.what != "amps" else _entry(ready, where.a)
    found = trails(edges, node)
    body = {
        "point": where.name,
        "to": str(battery_minus(circuit)),
        "node": canonical(circuit, where.a),
        "phase": phase,
        "volts": float(runs.volts[0, 0, node]),
        "amps": sum(t.amps for t in found),
        "trails": [{"parts": list(t.parts), "amps": t.amps, "share": t.share} for t in found],
    }
    return answer("trail", sheet, body)


def _entry(session: Session, part: Term) -> int:
    network = session.network
    return int(network.base.na[network.branch(part if part.name else part.part)])
