"""Causes that a hand or a module made: each is in the catalogue, reads back, and does what it should.

Sources: ISO 7588-1 (pins 30 and 86 of a mini relay change places between types A and B); the rest are rules
of the trade (common practice). Figures are worked with Ohm's law beside each check.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from amptrail.circuit.model import Circuit, Fault, Term, WorkedOn
from amptrail.errors import InputError
from amptrail.faults import Hypothesis, catalogue, changes
from amptrail.sheet import fault_text, parse, parse_fault
from amptrail.solve.assemble import assemble
from amptrail.solve.network import Network
from amptrail.solve.runs import Runs, run
from amptrail.twin.overlay import overlay

SHEET = """
vehicle "Test bench, 12 V"
place box 2 min
place bay 2 min
battery BAT at bay
fuse F1 25 A at box
fuse F2 5 A at box
fuse F3 5 A at bay
relay K1 at bay
relay K2 at bay
switch S1 closed in ignition-on at bay
ground G1 at bay
motor M1 runs 20 A at bay
heater H1 120 W at bay
lamp L1 12 V 5 W at bay
module BCM at bay
BCM.31 ground
BCM.30 supply 25 ohm awake 12 kohm asleep
BCM.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V
BCM awake while ign
BCM.hr low-side heat on 150 mohm leak 1 Mohm limit 2.5 A while awake
BCM.lp high-side glow on 150 mohm leak 1 Mohm limit 5 A while awake
path BAT.+ -- [W1: RD 4 mm2 1 m] -- F1 -- K1.30-87 -- [W2: GN 2.5 mm2 3 m] -- M1 -- G1
path W1.out -- F2 -- S1 -- [W3: BK 0.5 mm2 2 m] -- K1.86-85 -- G1
path F1.out -- K2.30-87 -- H1 -- G1
path W3.out -- K2.86-85 -- BCM.hr
path W3.out -- BCM.15
path W1.out -- F3 -- BCM.30
path BCM.lp -- L1 -- G1
path BCM.31 -- G1
path BAT.- -- body
"""
LAYOUT = "K1.30 swapped with K1.86"


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return parse(SHEET)


@pytest.fixture(scope="module")
def net(circuit: Circuit) -> Network:
    return assemble(circuit)


def solved(net: Network, *lanes: tuple[Fault, ...]) -> Runs:
    return run(net, [tuple(c for f in lane for c in changes(net, f)) for lane in lanes])


def cause(circuit: Circuit, ident: str) -> Hypothesis:
    found = {h.id: h for h in catalogue(circuit)}
    assert ident in found, [i for i in found if i.split(":")[-1] == ident.split(":")[-1]]
    return found[ident]


def at(runs: Runs, phase: str) -> int:
    return runs.network.phases.index(next(p for p in runs.network.phases if p.name == phase))


@pytest.mark.parametrize(
    ("ident", "text", "repair"),
    [
        ("K1.30>K1.86:swapped", LAYOUT, "pin layout"),
        ("F1>F2:exchanged", "F1 wrong rating 5 A and F2 wrong rating 25 A", "F1 and F2"),
        ("BCM.heat:shut-off", "BCM.heat dead", "clear a stored shut-off"),
        ("BCM.heat:shed", "BCM.heat dead and BAT has emf 11.844 V", "charge the battery"),
    ],
)
def test_the_cause_and_its_words(circuit: Circuit, ident: str, text: str, repair: str) -> None:
    h = cause(circuit, ident)
    assert h.faults == parse_fault(circuit, text)
    assert parse_fault(circuit, fault_text(circuit, h.faults)) == h.faults
    assert repair in h.repair and "{" not in h.repair
    assert 0 < h.prior < 0.01


def test_a_wrong_relay_layout_pulls_in_for_ever_and_feeds_the_load_through_the_control_fuse(
    circuit: Circuit, net: Network
) -> None:
    """The coil lies across the feed (30 to 85), so the relay never drops; its contact takes the motor's 20 A
    from the control side, whose 5 A fuse cannot carry it."""
    runs = solved(net, (), cause(circuit, "K1.30>K1.86:swapped").faults)
    for phase in ("asleep", "ignition-on"):
        k = at(runs, phase)
        assert ("K1" in runs.state(0, k).relays_energised) == (phase == "ignition-on")
        assert "K1" in runs.state(1, k).relays_energised
    k = at(runs, "ignition-on")
    coil = net.branch("K1.coil")
    volts = runs.volts[1, k]
    # Ohm's law over the socket as wired: 30 to 85
    over = volts[net.node(Term("K1", "30"))] - volts[net.node(Term("K1", "85"))]
    assert runs.amps[1, k, coil] == pytest.approx(over / net.base.p[coil, 0])
    assert over > 11
    assert "F2" in runs.state(1, k).fuses_open and "F2" not in runs.state(0, k).fuses_open
    motor = net.branch("M1")
    assert abs(runs.amps[0, k, motor]) > 10 and abs(runs.amps[1, k, motor]) < 0.1


def test_the_second_computation_puts_the_same_ends_together(circuit: Circuit, net: Network) -> None:
    bench = overlay(circuit, parse_fault(circuit, LAYOUT)).bench
    lanes = solved(net, parse_fault(circuit, LAYOUT)).lanes
    term = {e.branch.name: (e.a, e.b) for e in bench.out if e.branch.part == "K1"}
    for name in ("coil", "87"):
        b = net.branch(f"K1.{name}")
        ours = [net.node_name(int(x[0, b])) for x in (lanes.na, lanes.nb)]
        assert ours == [str(bench.names[n]) for n in term[name]]


@pytest.mark.parametrize("text", ["K1.30 swapped with K1.87", "K1.30 swapped with K2.86"])
def test_other_pins_of_a_relay_cannot_change_places(circuit: Circuit, net: Network, text: str) -> None:
    with pytest.raises(InputError, match="only 30 and 86"):
        changes(net, parse_fault(circuit, text)[0])


def test_fuses_in_each_others_slots_the_small_one_opens(circuit: Circuit, net: Network) -> None:
    runs = solved(net, (), cause(circuit, "F1>F2:exchanged").faults)
    k = at(runs, "ignition-on")
    assert runs.state(0, k).fuses_open == ()
    assert runs.state(1, k).fuses_open == ("F1",)  # 20 A and more through 5 A; the 25 A in F2 holds


def test_only_unlike_fuses_of_one_place_are_exchanged(circuit: Circuit) -> None:
    assert [h.id for h in catalogue(circuit) if h.id.endswith(":exchanged")] == ["F1>F2:exchanged"]


def test_load_shed_holds_off_the_heater_only(circuit: Circuit, net: Network) -> None:
    assert [h.id for h in catalogue(circuit) if h.id.endswith(":shed")] == ["BCM.heat:shed"]
    runs = solved(net, (), cause(circuit, "BCM.heat:shed").faults)
    k = at(runs, "ignition-on")
    heater, lamp = net.branch("H1"), net.branch("L1")
    assert abs(runs.amps[0, k, heater]) > 8 and abs(runs.amps[1, k, heater]) < 0.01
    assert abs(runs.amps[1, k, lamp]) > 0.3  # the rest works, a little weaker
    assert abs(runs.amps[1, k, lamp]) < abs(runs.amps[0, k, lamp])


def test_a_stored_shut_off_is_the_cheaper_repair_and_warns_of_fuel(circuit: Circuit) -> None:
    stored, broken = cause(circuit, "BCM.heat:shut-off"), cause(circuit, "BCM.heat:dead")
    assert stored.faults == broken.faults and stored.group != broken.group
    assert stored.repair_minutes < broken.repair_minutes and stored.prior < broken.prior
    assert "fuel leaks" in stored.repair


def test_a_cut_off_or_bridge_is_thought_of_only_where_somebody_worked(circuit: Circuit, net: Network) -> None:
    def fitted(of: Circuit) -> set[str]:
        return {h.id for h in catalogue(of) if h.id.endswith((":cut-off", ":bridged"))}

    worked = replace(circuit, worked_on=(WorkedOn("S1"),))
    assert fitted(circuit) == set()
    assert fitted(worked) == {"W3:cut-off", "S1.in>S1.out:bridged"}
    cut, bridge = (cause(worked, x).faults for x in ("W3:cut-off", "S1.in>S1.out:bridged"))
    assert parse_fault(circuit, fault_text(circuit, cut + bridge)) == cut + bridge
    runs = solved(net, (), cut, bridge)
    on, off = at(runs, "ignition-on"), at(runs, "asleep")
    assert "K1" not in runs.state(1, on).relays_energised
    assert "K1" not in runs.state(0, off).relays_energised and "K1" in runs.state(2, off).relays_energised
