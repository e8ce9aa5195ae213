"""How long a light was lit is a reading, compared with the vehicle at that time, not at its phase's end."""

from __future__ import annotations

import pytest

from amptrail.jobs.judging.suspects import suspects
from amptrail.jobs.solved.conditions import Conditions, Moment, as_it_stands
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse

PRIMES = """vehicle "A pump that primes for two seconds"
phase ignition-on 10 s
phase running 300 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm
switch KEY positions off, on
KEY.30-15 closed at on
fuse F1 15 A
fuse F2 5 A
relay K1 coil 90 ohm
module ECM
motor PUMP 2.4 ohm runs 5 A at 13 V
ground G1
path BAT.+ -- [W1: RD 4 mm2 1 m] -- F1 -- K1.30-87 -- [W3: GN 2.5 mm2 4 m] -- PUMP -- G1
path W1.out -- KEY.30-15 -- F2 -- K1.86-85 -- [W6: WH 0.5 mm2 2 m] -- ECM.pump
path F2.out -- ECM.15
path ECM.31 -- body
path BAT.- -- body
ECM.31 ground
ECM.15 supply 25 ohm awake 12 kohm asleep
ECM.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V
ECM awake while ign held 1 s
ECM prime while ign pulsed 2 s or phase running
ECM.pump low-side prime on 150 mohm while prime
must runs: PUMP.in to PUMP.out 9 V or more in running
"""


def _believed(line: str) -> dict[str, float]:
    got = suspects(PRIMES, line)
    return {"nothing": got["nothing_broken"], **{s["text"]: s["probability"] for s in got["suspects"]}}


@pytest.mark.parametrize("told", ["lit 2 s then dark", "lit 1.8 s then dark", "dark"])
def test_a_light_that_is_lit_for_as_long_as_it_should_speaks_for_a_sound_vehicle(told: str) -> None:
    """By the end of the phase it is dark; a light told as lit and then dark was once taken as lit there."""
    believed = _believed(f"PUMP.in in ignition-on lamp {told}")
    assert believed["nothing"] > 10 * believed.get("K1 stuck on", 0.0)


@pytest.mark.parametrize("told", ["lit > 9 s", "lit > 40 s", "bright"])
def test_one_that_stays_lit_does_not(told: str) -> None:
    """Also where it stayed lit for longer than the phase lasts on the sheet."""
    believed = _believed(f"PUMP.in in ignition-on lamp {told}")
    assert believed["K1 stuck on"] > 10 * believed["nothing"]


def test_it_is_two_readings_one_before_and_one_after() -> None:
    circuit = parse(PRIMES)
    one, two = observations(circuit, "with F2 pulled\nPUMP.in in running lamp lit 12 s then dark").used[-2:]
    assert (one.word, two.word) == ("lit", "dark")
    assert one.conditions == Conditions(pulled=("F2",), moment=Moment("running", 8.0))
    assert two.conditions.moment == Moment("running", 18.0)
    assert one.line == two.line == 2


def test_only_the_phase_it_was_said_of_ends_then() -> None:
    circuit = parse(PRIMES)
    there = as_it_stands(circuit, Conditions(moment=Moment("Ignition_On", 3.0)))
    assert [p.duration_s for p in there.phases] == [3.0, 300.0, 3600.0]
    assert as_it_stands(circuit, Conditions()) == circuit
