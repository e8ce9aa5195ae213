"""Parts that are alike lend each other their readings: what the left lamp reads, the right one should read.

`TURN_R like TURN_L` in the sheet. A reading at a terminal of one is told beside the test at the same terminal
of the other, with the same instrument, where the sound vehicle reads the same at both (the left lamp while
left is asked for, the right one while right is).
"""

from __future__ import annotations

from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.figures import figure
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.spots import Spot

UNITS = {"volts": "V", "amps": "A", "ohms": "ohm"}
SAID = ("lit", "works", "clicks")
ALIKE_SHARE, ALIKE_LEAST = 0.02, 0.05  # as near as the sound vehicle reads at both, V or A (common practice)
Nodes = set[tuple[int | None, int | None]]


def alike(circuit: Circuit, part: str) -> tuple[str, ...]:
    """Parts declared like this one, either way round and at one remove."""
    met = [key(part)]
    names = {key(p.name): p.name for p in circuit.parts}
    for m in met:
        for x in circuit.likes:
            for a, b in ((x.part, x.other), (x.other, x.part)):
                if key(a) == m and key(b) not in met:
                    met.append(key(b))
    return tuple(names[m] for m in met[1:] if m in names)


def _nodes(circuit: Circuit, part: str, other: str) -> Nodes:
    """(metal of a terminal, metal of the twin's same terminal)."""
    w = wiring(circuit)
    mine = [t for p, t in w.node_of if p == key(part)]
    return {(w.node(Term(part, t)), w.node(Term(other, t))) for t in mine}


def _same_place(circuit: Circuit, t: Spot, o: Spot, part: str, other: str) -> bool:
    """Whether two readings are at the same place of two twins."""
    if t.what != o.what:
        return False
    if t.what != "volts":
        return key(t.a.part) == key(part) and key(o.a.part) == key(other)
    w, twins = wiring(circuit), _nodes(circuit, part, other)
    if (w.node(t.a), w.node(o.a)) not in twins or (t.b is None) != (o.b is None):
        return False
    if t.b is None or o.b is None:
        return True
    pair = (w.node(t.b), w.node(o.b))
    return pair[0] == pair[1] or pair in twins


def _sound_alike(circuit: Circuit, t: Candidate, o: Observation, part: str, other: str) -> bool:
    """Whether the sound vehicle gives the same at both."""
    got = solving.solved(circuit, [()], t.conditions, keep=False)
    phase = o.phase or 0
    if t.said is not None:
        a, b = (float(got.across(n, p)[0]) for n, p in ((part, t.phase), (other, phase)))
    elif o.spot is not None:
        values, _ = got.measure([(t.spot, t.instrument, t.phase), (o.spot, t.instrument, phase)])
        a, b = float(values[0, 0]), float(values[0, 1])
    return abs(abs(a) - abs(b)) <= max(ALIKE_LEAST, ALIKE_SHARE * abs(a))


def _lends(circuit: Circuit, t: Candidate, o: Observation, part: str, other: str) -> bool:
    if o.phase is None or o.conditions.as_told != t.conditions or o.showing == "fails":
        return False
    if t.said is not None:
        same = o.kind == t.said.kind and o.kind in SAID and key(o.part or "") == key(other)
        return same and key(t.said.part or "") == key(part) and _sound_alike(circuit, t, o, part, other)
    if o.spot is None or o.tool != t.instrument:
        return False
    return _same_place(circuit, t.spot, o.spot, part, other) and _sound_alike(circuit, t, o, part, other)


def lent(circuit: Circuit, seen: tuple[Observation, ...], t: Candidate) -> Json | None:
    """What a part like the tested one read at the same place; None where none was read."""
    for part in dict.fromkeys(n for x in circuit.likes for n in (x.part, x.other)):
        for other in alike(circuit, part):
            for o in reversed(seen):
                if _lends(circuit, t, o, part, other):
                    what = o.word or figure(o.value, UNITS[o.spot.what] if o.spot else "V")
                    verb = "reads" if o.spot is not None else "is" if o.kind == "lit" else ""
                    words = f"{other}, which is like {part}, {verb} {what}: here it should be the same"
                    return {"part": other, "line": o.line, "text": o.text, "words": " ".join(words.split())}
    return None
