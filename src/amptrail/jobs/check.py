"""`check`: is the sheet sound, and what names does it offer to whoever drives the program."""

from __future__ import annotations

from amptrail.circuit.checks import check as sound
from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.phases import drive_cycle, seconds
from amptrail.circuit.wiring import wiring
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.faultnames import fault_objects
from amptrail.jobs.solved.spots import all_spots, canonical, place_of
from amptrail.jobs.unsaid import groups, of_part


def _terminals(circuit: Circuit) -> dict[str, list[str]]:
    """Terminals the wiring mentions, by part key, in order."""
    found: dict[str, dict[str, None]] = {}
    for path in circuit.paths:
        for hop in path.hops:
            for name in (hop.a, hop.b):
                if hop.part and name:
                    found.setdefault(key(hop.part), {})[name] = None
    for net in circuit.nets:
        for term in net.terms:
            if term.part and term.name:
                found.setdefault(key(term.part), {})[term.name] = None
    return {k: list(v) for k, v in found.items()}


def _part_rows(circuit: Circuit) -> list[Json]:
    terminals = _terminals(circuit)
    return [
        {
            "name": p.name,
            "kind": p.kind,
            "terminals": terminals.get(key(p.name), []),
            "place": p.place,
            "unconfirmed": of_part(circuit, p),
        }
        for p in circuit.parts
    ]


def _point_rows(circuit: Circuit) -> list[Json]:
    rows: list[Json] = [
        {
            "name": s.name,
            "node": canonical(circuit, s.a),
            "place": place_of(circuit, s.a),
            "what": s.what,
            "to": canonical(circuit, s.b) if s.b else None,
        }
        for s in all_spots(circuit)
    ]
    named = {r["name"] for r in rows}
    for names in wiring(circuit).net_names:
        for n in names:
            if n not in named:
                rows.append(
                    {
                        "name": n,
                        "node": canonical(circuit, Term("", n)),
                        "place": None,
                        "what": "volts",
                        "to": None,
                    }
                )
    return rows


def check(sheet_text: str, every: bool = False) -> Json:
    """The soundness of a sheet: every problem, its parts, points, phases, functions, faults, and what is
    assumed. `every`: a screen shows every assumed value, not only those that decide something."""
    sheet = load(sheet_text)
    circuit = sheet.circuit
    problems = [p for p in sound(circuit) if p not in sheet.warnings]
    faults = fault_objects(circuit)
    bad = any(p.severity == "error" for p in problems)
    points = _point_rows(circuit)
    body = {
        "parts": _part_rows(circuit),
        "points": points,
        "phases": [
            {"name": p.name, "base": p.base, "seconds": seconds(p), "at": dict(p.at)}
            for p in drive_cycle(circuit)
        ],
        "functions": [
            {
                "name": m.name,
                "on": list(m.on),
                "off": list(m.off),
                "min_v": m.min_v,
                "max_off_v": m.max_off_v,
                "signal": f"{m.module}.{m.signal}" if m.signal else None,
            }
            for m in circuit.musts
        ],
        "faults": faults,
        "assumed": groups(circuit),
        "all": every,
        "feeds": [{"name": f.name, "text": f.text} for f in circuit.feeds],
        "counts": {
            "parts": len(circuit.parts) + len(circuit.cavities),
            "points": len(points),
            "phases": len(drive_cycle(circuit)),
            "faults": len(faults),
        },
    }
    return answer("check", sheet, body, problems=problems, exit_status=2 if bad else 0)
