"""Only what somebody can see, hear or feel is asked about; the rest is measured."""

from __future__ import annotations

from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.judging.offers import sensed
from amptrail.sheet import parse

SHEET = """
phase running 9 s
phase asleep 1 h
battery BAT 12.6 V
battery BAT2 12.4 V
alternator ALT
fuse F1 10 A
fuse F2 10 A
motor PUMP
resistor SENSOR 4 kohm
module ECM
path ALT.B+ -- BAT.+
path ALT.31 -- body
path BAT.+ -- F2 -- BAT2.+
path BAT2.- -- body
path BAT.+ -- F1 -- [W1: 1 mm2 2 m] -- PUMP -- body
path F1.out -- ECM.30
path ECM.v5 -- SENSOR -- ECM.31 -- body
ECM.31 ground
ECM.30 supply 30 ohm awake 30 ohm asleep
ECM.v5 reference v5 5 V 0.3 ohm limit 60 mA
ECM awake while always
must pumps: W1.in to body 9 V or more in running
must charges: BAT2.+ to BAT2.- 13 V or more in running
must reference: ECM.v5 to ECM.31 4.5 V or more in running
"""


def test_a_pump_is_heard_and_a_charging_voltage_is_not() -> None:
    circuit = parse(SHEET)
    said = [c.said for c in sensed(circuit, range(len(drive_cycle(circuit))))]
    assert {o.part for o in said if o is not None and o.kind == "works"} == {"pumps"}
