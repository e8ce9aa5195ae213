"""What a cycle must find in the public stories of DESIGN §9 and in modules, drivers, alternators in time.

The stories are those of the public case list (A10, A29, B06), retold with invented values; A29 stands in
test_loops.
"""

from __future__ import annotations

import pytest
from sheets import network

from amptrail.circuit.model import Term
from amptrail.cycle import Timeline, run_cycle
from amptrail.faults import changes
from amptrail.jobs.solved.feeds import fitted
from amptrail.sheet import parse, parse_fault
from amptrail.solve import assemble

ORDERS = ("settle", "time")

# B06 (a): the owner's own jumper joins the alternator's output to the ignition rail.
RUNS_ON = """vehicle "sports car, engine runs on"
phase ignition-on 5 s
phase cranking 2 s
phase running 60 s
phase asleep 600 s
battery BAT 12.6 V 10 mohm cranking 50 mohm
alternator ALT 14.2 V 20 mohm spins in running
fuse F1 30 A
switch KEY positions off, on, start
KEY.30-15 closed at on, start
module ECU
resistor COIL 6 ohm
path BAT.- -- body
path BAT.+ -- F1 -- KEY.30
path ALT.B+ -- [WA: RD 10 mm2 1 m] -- BAT.+
path ALT.31 -- body
path KEY.15 -- COIL -- body
path KEY.15 -- ECU.15
path ECU.31 -- body
ECU.31 ground
ECU lives above 6 V
ECU.15 supply 60 ohm awake 10 kohm asleep
ECU.15 input ign on at 5 V off at 4 V
ECU awake while ign
must spark: COIL.in to COIL.out 8 V or more in ignition-on, cranking, running; 1 V or less in asleep
"""
JUMPER = "from ALT.B+ to KEY.15 fuse 20 A wire 1.5 mm2 1 m"

# A10: a resistor stands in for the charge lamp between the ignition feed and the field terminal.
STAND_IN = """vehicle "expedition truck"
phase ignition-on 5 s
phase running 60 s
phase rolling-out as running 20 s with KEY at off
phase asleep 600 s
battery BAT 12.6 V 10 mohm
alternator ALT 14.2 V 20 mohm field 22 ohm excites 60 mA spins in running, rolling-out
fuse F1 30 A
switch KEY positions off, on
KEY.30-15 closed at on
resistor R {ohm} ohm
resistor GAUGES 400 ohm
module ECU
path BAT.- -- body
path BAT.+ -- F1 -- KEY.30
path ALT.B+ -- BAT.+
path ALT.31 -- body
path KEY.15 -- R -- ALT.D+
path KEY.15 -- GAUGES -- body
path KEY.15 -- ECU.15
path BAT.+ -- ECU.30
path ECU.31 -- body
ECU.31 ground
ECU lives above 6 V
ECU.30 supply 60 ohm awake 10 kohm asleep
ECU.15 input ign pull-down 2 kohm on at 5 V off at 3.5 V
ECU awake while ign
"""


def words(got: Timeline) -> str:
    return "\n".join(line for c in got.why for line in c.lines())


@pytest.mark.parametrize("order", ORDERS)
def test_b06_a_jumper_to_the_ignition_rail_keeps_it_alive(order: str) -> None:
    circuit = parse(RUNS_ON)
    fed = assemble(fitted(circuit, JUMPER))
    got = run_cycle(fed, order=order)  # type: ignore[arg-type]
    assert got.awake == ("ECU",) and got.sleep_a is not None and got.sleep_a > 2
    assert "from BAT through WA, feed_fuse, feed_wire" in words(got)
    without = run_cycle(assemble(circuit), order=order)  # type: ignore[arg-type]
    assert without.asleep and without.sleep_a is not None and without.sleep_a < 1e-3


@pytest.mark.parametrize("order", ORDERS)
def test_a10_the_stand_in_resistor_excites_and_feeds_back(order: str) -> None:
    """A 150 ohm resistor brings 12.6 / 172 = 73 mA to a field that needs 60; with the key off and the engine
    still turning the same resistor feeds D+ back into the ignition rail (story: 80-90 mA in, seen)."""
    got = run_cycle(network(STAND_IN.format(ohm=150)), order=order)  # type: ignore[arg-type]
    on, run, rolling, bed = got.ends()
    assert on.amp("R") == pytest.approx(12.6 / 172, rel=0.03)
    assert run.state.charging == ("ALT",) and rolling.state.charging == ("ALT",)
    assert rolling.amp("R") < -0.02  # backwards: from the field terminal into the rail
    assert rolling.state.modules_awake == ("ECU",) and bed.state.modules_awake == ()
    none = run_cycle(network(STAND_IN.format(ohm=10_000)), order=order)  # type: ignore[arg-type]
    assert all(i.state.charging == () for i in none.instants)


def test_excitation_is_kept_only_while_it_turns() -> None:
    got = run_cycle(network(STAND_IN.format(ohm=150)), cycles=2, order="time")
    charging = [i.phase for i in got.instants if i.state.charging]
    assert set(charging) == {"running", "rolling-out"}


DRIVER = """vehicle "bench"
phase ignition-on 5 s
phase running 20 s
phase after-run 5 s
phase asleep 60 s
battery BAT 12.6 V 10 mohm
fuse F1 30 A
switch KEY closed in ignition-on, running
switch ASK closed in ignition-on, after-run
module CU
resistor LOAD {ohm} ohm
path BAT.- -- body
path BAT.+ -- F1 -- CU.30
path F1.out -- KEY -- CU.15
path F1.out -- ASK -- CU.ask
path CU.out -- LOAD -- body
path CU.31 -- body
CU.31 ground
CU lives above 6 V
CU.30 supply 100 ohm awake 10 kohm asleep
CU.15 input ign pull-down 10 kohm on at 5 V off at 4 V
CU.ask input ask pull-down 10 kohm on at 5 V off at 4 V
CU awake while ign held 10 s
CU.out high-side out on 50 mohm leak 1 Mohm limit 5 A while ask
"""


def switches(got: Timeline) -> list[tuple[float, str]]:
    return [(round(i.t_s - 60, 4), str(c)) for i in got.instants for c in i.changes if i.t_s >= 60]


def test_a_driver_latches_until_the_request_ends() -> None:
    """SCHEMA: above i_max off and latched until `when` goes false; in time it takes one look of 10 ms."""
    got = run_cycle(network(DRIVER.format(ohm=1)), order="time")
    told = switches(got)
    on = next(t for t, c in told if c == "driver CU.out on")
    then = [c for t, c in told if t == round(on + 0.01, 4)]
    assert {"driver CU.out off", "trip CU.out on"} <= set(then)
    ends = {i.phase: i.state for i in got.ends()}
    assert ends["ignition-on"].drivers_tripped == ("CU.out",) and ends["running"].drivers_tripped == ()
    assert ends["after-run"].drivers_tripped == ("CU.out",)  # asked again: trips again
    fine = run_cycle(network(DRIVER.format(ohm=4)), order="time")
    assert not any("trip" in c for _, c in switches(fine))
    assert {i.phase for i in fine.ends() if i.state.drivers_on} == {"ignition-on", "after-run"}


def test_a_hold_runs_from_the_look_that_sees_the_key_go() -> None:
    told = switches(run_cycle(network(DRIVER.format(ohm=4)), order="time"))
    off = next(t for t, c in told if c == "awake CU off")
    assert off == pytest.approx(25 + 0.01 + 10, abs=0.011)


def test_horizon_is_said_when_something_still_runs() -> None:
    long = DRIVER.format(ohm=4).replace("held 10 s", "held 2000 s")
    for order in ORDERS:
        got = run_cycle(network(long), order=order)  # type: ignore[arg-type]
        assert got.reason == "horizon" and got.awake == ("CU",)
        assert "is held 2000 s" in words(got)
        assert got.self_holding == ()  # it will end


FLASHER = """vehicle "bench"
phase ignition-on 60 s
phase asleep 60 s
battery BAT 12.6 V 10 mohm
fuse F1 10 A
switch KEY closed in ignition-on
module FL
lamp L 12 V 21 W
path BAT.- -- body
path BAT.+ -- F1 -- KEY -- FL.15
path F1.out -- FL.30
path FL.49a -- L -- body
path FL.31 -- body
FL.31 ground
FL lives above 6 V
FL.30 supply 1 kohm awake 10 kohm asleep
FL.15 input ign pull-down 10 kohm on at 5 V off at 4 V
FL awake while ign
FL lit while ign and not dark
FL dark while lit held 330 ms and not (lit pulsed 330 ms)
FL.49a high-side lamp on 50 mohm leak 1 Mohm limit 20 A while lit
"""


def test_a_flasher_beats_and_does_not_chatter() -> None:
    """ECE R48: 90 +- 30 flashes a minute (memory). In time its own loop is a beat with a period."""
    got = run_cycle(network(FLASHER), order="time")
    on = [i.t_s for i in got.instants if any(str(c) == "driver FL.lamp on" for c in i.changes)]
    beat = next(i.every_s for i in got.instants if i.every_s)
    assert 0.5 <= beat <= 1.0 and on[1] - on[0] == pytest.approx(beat, abs=0.02)
    assert got.reason == "settled" and all(i.status == "settled" for i in got.instants)
    assert len(got.instants) < 100  # the rounds between are passed over


def test_a_module_that_pulls_its_own_supply_down_resets_for_ever() -> None:
    """A corroded feed: awake it draws 3 A through 3 ohm and starves; the reset loop is chatter, named."""
    text = DRIVER.format(ohm=4).replace("supply 100 ohm awake", "supply 4 ohm awake")
    net = network(text)
    bad = changes(net, parse_fault(net.circuit, "F1 resistance 6 ohm")[0])
    got = run_cycle(net, bad, order="time")
    first = got.ends()[0]
    assert first.status == "chatter" and "awake CU" in first.chattering
    assert first.low is not None and first.high is not None
    rail = net.node(Term("CU", "30"))
    assert first.low[rail] < 6 < first.high[rail]
    beat = next(i.every_s for i in got.instants if i.every_s)
    assert 0.05 < beat < 0.3  # about its time to boot
    assert got.loops[0].startswith("CU starves itself: ") and "it needs 6 V" in got.loops[0]


def test_bridges_and_feeds_are_named_in_the_trail() -> None:
    net = network(RUNS_ON)
    short = changes(net, parse_fault(net.circuit, "KEY.15 to supply 1 ohm")[0])
    got = run_cycle(net, short)
    assert got.awake == ("ECU",) and "through what bridges it" in words(got)
