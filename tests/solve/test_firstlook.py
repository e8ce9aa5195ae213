"""A first look at a second fault beside lanes that were lived with both.

On a circuit whose branches are all straight lines and switch nothing, the matrix identity is exact (Sherman,
Morrison and Woodbury; from memory): the look is the answer. On the demos it is held to what it is for.
"""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from amptrail.circuit.model import Circuit, Term
from amptrail.faults import catalogue, changes
from amptrail.jobs.evidence.hopes import thinned
from amptrail.jobs.evidence.predict import single
from amptrail.sheet import parse
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind
from amptrail.solve.firstlook import first_look
from amptrail.solve.readings import Tap, read
from amptrail.solve.runs import run
from amptrail.solve.second import seconds

DEMOS = Path(__file__).parents[2] / "demos"
STRAIGHT = """vehicle "Two heaters"
place cab 1 min
phase ignition-on 10 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm charge 10 mohm at cab
fuse F1 80 A at cab
switch SW closed in ignition-on at cab
resistor H1 2 ohm at cab
resistor H2 3 ohm at cab
resistor H3 4 ohm at cab
ground G1 at cab
ground G2 at cab
path BAT.+ -- [W1: RD 2.5 mm2 1 m] -- F1 -- SW -- [W2: YE 1.5 mm2 4 m] -- H1 -- [W3: BN 1.5 mm2 1 m] -- G1
path SW.out -- [W4: YE 1.5 mm2 2 m] -- H2 -- [W5: BN 1.5 mm2 1 m] -- G2
path H1.out -- H3 -- H2.out
path BAT.- -- [W6: BK 16 mm2 0.5 m] -- body
"""


def points(circuit: Circuit) -> list[Term]:
    """Both ends of every two-ended part."""
    net = assemble(circuit)
    ends = [Term(p.name, e) for p in circuit.parts for e in ("in", "out")]
    return [t for t in ends if (t.part.lower(), t.name) in net.node_index]


def test_on_straight_lines_the_look_is_the_answer() -> None:
    circuit = parse(STRAIGHT)
    net = assemble(circuit)
    body = net.node(Term("", "body"))
    places = [net.node(Term(p, e)) for p in ("H1", "H2", "W2") for e in ("in", "out")]
    faults: list[tuple[Change, ...]] = [(Change(Kind.OPEN, w),) for w in ("W2", "W4", "W3", "F1")]
    faults += [(Change(Kind.SERIES, w, value=r),) for w in ("W1", "W5", "W4", "W6") for r in (0.2, 30.0)]
    faults += [(Change(Kind.BRIDGE, p, body, 5.0),) for p in places]
    faults += [(Change(Kind.BRIDGE, places[0], places[2], 0.4), Change(Kind.OPEN, "W3"))]
    at = points(circuit)
    taps = [Tap(t) for t in at] + [Tap(t, None, "loaded") for t in at[::3]]
    taps += [Tap("H1", None, "clamp"), Tap("W4", None, "clamp"), Tap(Term("H1", "in"), None, "ohmmeter")]
    runs = run(net, [(), *faults])
    asked = [(t, 0) for t in taps]
    which = list(range(len(faults) + 1))
    look, _ = first_look(net, runs, which, seconds(net, runs, np.arange(len(runs.status))), asked)
    both = [(i, j) for i, j in combinations(which, 2)]
    lived = read(net, run(net, [(*(() if not i else faults[i - 1]), *faults[j - 1]) for i, j in both]), taps)
    for n, (i, j) in enumerate(both):
        for a, b in ((i, j), (j, i)):
            ohms = lived.value[n, 0, -1] if not lived.over[n, 0, -1] else 20e6
            want = np.append(lived.value[n, 0, :-1], ohms)
            same = a and b and _same_branch(faults[a - 1], faults[b - 1])
            if not same:
                assert look[a, b] == pytest.approx(want, rel=2e-5, abs=2e-6), (a, b)


def _same_branch(a: tuple[Change, ...], b: tuple[Change, ...]) -> bool:
    """Two numbers for one branch: the second takes its place in a lane, and adds up in a look."""
    return bool({str(c.target) for c in a} & {str(c.target) for c in b})


@pytest.mark.parametrize("name", ["sprayer", "camper", "trailer"])
def test_a_single_cause_put_into_the_healthy_vehicle_reads_as_its_own_lane(name: str) -> None:
    """Every phase and a point in three; what bends is taken as straight, so not all to the millivolt."""
    circuit = parse((DEMOS / f"{name}.sheet").read_text(encoding="utf-8"))
    net = assemble(circuit)
    causes = [c for c in catalogue(circuit) if c.faults]
    rows: list[tuple[Change, ...]] = [()]
    for s in map(single, causes):
        rows += [tuple(x for f in s.rows[k] for x in changes(net, f)) for k in thinned(s)]
    runs = run(net, rows)
    taps = [Tap(t) for t in points(circuit)[::3]]
    asked = [(t, k) for t in taps for k in range(len(runs.phases))]
    look, source = first_look(net, runs, [0], seconds(net, runs, np.arange(len(runs.status))), asked)
    got = read(net, runs, taps)
    lived = np.stack([got.value[:, k, taps.index(t)] for t, k in asked], axis=1)
    settled = np.stack([runs.status[:, k] <= 1 for _, k in asked], axis=1)
    known = np.isfinite(look[0]) & settled
    off = np.abs(np.where(known, look[0] - lived, 0.0))
    assert known.mean() > 0.8
    assert (off[known] < 0.02).mean() > 0.93
    assert (off[known] > 1.0).mean() < 0.03
    assert (source >= 0.0).all()


def test_what_both_have_changed_already_is_not_changed_twice() -> None:
    """A module without its feed and without its ground: its pulls are gone once."""
    circuit = parse((DEMOS / "sprayer.sheet").read_text(encoding="utf-8"))
    net = assemble(circuit)
    feed, ground = (Change(Kind.OPEN, "W15"),), (Change(Kind.OPEN, "W16"),)
    runs = run(net, [(), feed, ground, (*feed, *ground)])
    asked = [(Tap(t), k) for t in points(circuit) for k in range(len(runs.phases))]
    look, _ = first_look(net, runs, [1, 2], seconds(net, runs, np.arange(len(runs.status))), asked)
    assert np.nanmax(np.abs(look)) < 15.0
