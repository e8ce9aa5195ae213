"""What never comes to rest is a state of its own: no reading of it is sharp, and no severity that rests is
drawn between one that does not and one that does. The figures to come back to are the solver's own."""

from __future__ import annotations

import numpy as np
import pytest

from amptrail.circuit.model import Circuit
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse, parse_fault
from amptrail.solve.settle import CHATTER

# a lamp on a module that dies below 6 V and comes back: behind some tens of ohms it starts again and again
SHEET = """
vehicle "Lamp on a module, main lead bad"
phase ignition-on 10 s
phase asleep 3600 s
battery BAT 12.6 V 6 mohm
link FLM 200 A
switch KEY closed in ignition-on
module M1
lamp L1 12 V 5 W
lamp TT 12 V 2.4 W
ground G1
path BAT.+ -- [W1: RD 25 mm2 0.4 m] -- FLM -- [W2: WH 16 mm2 0.9 m] -- KEY -- [W5: BU 10 mm2 0.5 m] -- M1.30
path W5.out -- [W9: RD 0.75 mm2 1.7 m] -- M1.15
path W5.out -- TT -- G1
path W5.out -- L1 -- [W11: VT 0.5 mm2 2.8 m] -- M1.q1
path M1.31 -- [W8: GN 1.5 mm2 0.5 m] -- G1
path BAT.- -- [W3: BK 25 mm2 0.4 m] -- body
M1.31 ground
M1 lives above 6 V
M1.30 supply 120 ohm awake 12 kohm asleep
M1.q1 low-side q1 on 120 mohm limit 4 A while awake
M1.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V
M1 awake while ign
must lit: L1.in to L1.out 9 V or more in ignition-on; 1 V or less in asleep
"""
POINT = "W5.out"


def _reads(circuit: Circuit, ohm: float) -> tuple[float, bool]:
    """Volts at POINT with W1 at so many ohms, and whether it rests."""
    got = solving.solved(circuit, [parse_fault(circuit, f"W1 resistance {ohm} ohm")], Conditions())
    o = observations(circuit, f"{POINT} in ignition-on meter 6 V\n").used[0]
    return float(got.columns([o]).mean[0, 0]), got.runs.status[0, got._slot(o.phase or 0)] != CHATTER


def _odds(circuit: Circuit, volts: float) -> tuple[float, float]:
    """ln of what a reading does for W1 and for FLM, in series with it and with severities of its own."""
    j = judge(
        circuit, f"lit in ignition-on does not work\n{POINT} in ignition-on meter {volts:.2f} V\n", "off"
    )
    index = {s.key: h for h, s in enumerate(j.suspects)}
    told = [float(j.post.probability[index[k]] / j.suspects[index[k]].prior)
            for k in ("W1:resistance", "FLM:resistance")]  # fmt: skip
    return float(np.log(told[0])), float(np.log(told[1]))


@pytest.mark.parametrize("ohm", [30.0, 45.0, 60.0, 70.0, 80.0])
def test_two_resistances_in_one_path_are_told_alike_by_one_reading(ohm: float) -> None:
    circuit = parse(SHEET)
    one, other = _odds(circuit, _reads(circuit, ohm)[0])
    assert abs(one - other) < 1.0


def test_what_does_not_rest_is_read_as_some_average_of_its_swing() -> None:
    circuit = parse(SHEET)
    restless = [ohm for ohm in (15.0, 20.0, 25.0, 30.0, 40.0) if not _reads(circuit, ohm)[1]]
    assert restless
    got = solving.solved(circuit, [parse_fault(circuit, f"W1 resistance {restless[0]} ohm")], Conditions())
    o = observations(circuit, f"{POINT} in ignition-on meter 6 V\n").used[0]
    swing, part = got.swing(o)[0], got.columns([o])
    assert swing > 1.0
    assert part.cov[0, 0, 0] >= (swing / 2) ** 2 / 12  # the middle half, all of it alike
    assert part.cov[0, 0, 0] < swing**2 / 12
