"""Loops: how many stable states, what holds itself, what chatters. CHECKS A15, its figures recomputed there.

Source of the clue: ECSS-Q-TM-40-04 Part 2A, clue 109A ("unstable or irreversible state"): an even number of
reversals in a loop latches, an odd one never rests.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from sheets import PAIR, PARASITE, network, ring, seal_in

from amptrail.cycle import races_between, run_cycle
from amptrail.solve import Network
from amptrail.solve.stepping import Snapshot, Stepper, asleep

SETTLED = 0


def stable(net: Network, phase: str) -> set[tuple[int, ...]]:
    """The relay states that rest in a phase: settling from them changes nothing."""
    names = [p.name for p in net.phases]
    begin, found = asleep(net), set()
    for bits in product((0, 1), repeat=len(net.relays)):
        state = begin.state.copy()
        state[: len(bits)] = bits
        step = Stepper.of(
            net, (), (), Snapshot(net, 0.0, state, begin.x, begin.prev, begin.until, begin.copies)
        )
        if step.settle(names.index(phase), 0.0) == SETTLED and np.array_equal(step.work.state, state):
            found.add(bits)
    return found


@pytest.mark.parametrize("n", range(1, 9))
def test_a_ring_of_reversals(n: int) -> None:
    """CHECKS A15: n even 2 stable states, n odd none; an odd ring chatters in both orders, all of it."""
    net = network(ring(n))
    assert len(stable(net, "asleep")) == (2 if n % 2 == 0 else 0)
    settle, time = run_cycle(net), run_cycle(net, order="time")
    everyone = tuple(f"relay K{k}" for k in range(1, n + 1))
    if n % 2:
        for got in (settle, time):
            assert got.reason == "chatter" and got.chatter == everyone
            back = " ← ".join(("relay K1", *(f"relay K{k}" for k in range(n, 0, -1))))
            assert got.loops[0] == f"{back}, for ever, in asleep"
        assert races_between(settle, time) == ()
    else:
        assert settle.reason == "settled" and settle.races  # which half pulls in is a matter of order
        assert races_between(settle, time)


@pytest.mark.parametrize(
    ("pressed", "stopped", "rests"),
    [(False, False, {(0,), (1,)}), (False, True, {(0,)}), (True, False, {(1,)}), (True, True, {(0,)})],
)
def test_a_seal_in_relay(pressed: bool, stopped: bool, rests: set[tuple[int, ...]]) -> None:
    """CHECKS A15: start off, stop off: off and on; stop opens it; start makes it."""
    text = seal_in(
        "closed in ignition-on" if pressed else "never closed",
        "never closed" if stopped else "closed in ignition-on",
    )
    assert stable(network(text), "ignition-on") == rests


def test_two_relays_feeding_each_other() -> None:
    """CHECKS A15: input off both-off and both-on; input on both-on."""
    net = network(PAIR)
    assert stable(net, "asleep") == {(0, 0), (1, 1)}
    assert stable(net, "ignition-on") == {(1, 1)}


@pytest.mark.parametrize("order", ["settle", "time"])
def test_what_holds_itself_after_the_cycle_is_found_and_its_loop_named(order: str) -> None:
    sealed = seal_in("closed in ignition-on", "closed in ignition-on, running, asleep")
    for text, held, loop in (
        (sealed, ("relay K",), "relay K ← relay K"),
        (PAIR, ("relay K1", "relay K2"), "relay K1 ← relay K2 ← relay K1"),
    ):  # fmt: skip
        got = run_cycle(network(text), order=order)  # type: ignore[arg-type]
        assert got.self_holding == held and got.loops == (loop,)
        assert got.reason == "settled" and got.sleep_a is not None and got.sleep_a > 0.1


def test_a_relay_let_go_before_sleep_holds_nothing() -> None:
    got = run_cycle(network(seal_in("closed in ignition-on", "closed in ignition-on, running")))
    assert got.self_holding == () and got.loops == ()
    assert got.ends()[1].state.relays_energised == ("K",)


@pytest.mark.parametrize("order", ["settle", "time"])
def test_a_flyback_diode_keeps_a_controller_alive(order: str) -> None:
    """Public story A29: constant battery, coil, flyback diode, the controller's own rail: it never sleeps."""
    got = run_cycle(network(PARASITE), order=order)  # type: ignore[arg-type]
    assert got.awake == ("ECU",) and not got.asleep
    assert got.loops == ("awake ECU ← input ECU.rail ← relay KMAIN ← driver ECU.main ← awake ECU",)
    assert "KMAIN.87" in " ".join(line for c in got.why for line in c.lines())
    assert got.self_holding == ()  # it needs no waking: the diode wakes it from everything off
    cut = run_cycle(network(PARASITE.replace("path ECU.mr -- DFB -- ECU.rail\n", "")), order=order)  # type: ignore[arg-type]
    assert cut.asleep and cut.loops == ()


def test_chatter_in_one_phase_is_told_with_its_phase() -> None:
    """A buzzer: a relay's own break contact in its coil's feed, behind the key."""
    text = ring(1).replace("path F1.out -- K1.30-87a", "path F1.out -- KEY -- K1.30-87a")
    text = text.replace("relay K1", "switch KEY closed in running\nrelay K1")
    for order in ("settle", "time"):
        got = run_cycle(network(text), order=order)  # type: ignore[arg-type]
        assert got.reason == "settled" and got.chatter == ("relay K1",)
        assert got.loops == ("relay K1 ← relay K1, for ever, in running",)
        assert [i.status for i in got.ends()] == ["settled", "chatter", "settled"]


def test_a_load_left_on_is_explained_by_what_feeds_it() -> None:
    text = seal_in("closed in ignition-on", "closed in ignition-on, running, asleep")
    text = text.replace("resistor LOAD 6 ohm", "heater LOAD 6 ohm")
    got = run_cycle(network(text))
    why = next(c for c in got.why if c.item == "load LOAD")
    assert "from BAT through F1, STOP, K.87" in why.because
    assert "relay K" in [c.item for c in why.by]


MUTUAL = """vehicle "two modules that keep each other up"
phase ignition-on 5 s
phase asleep 60 s
battery BAT 12.6 V 10 mohm
fuse F1 10 A
switch KEY closed in ignition-on
module MA
module MB
path BAT.- -- body
path BAT.+ -- F1 -- MA.30
path F1.out -- MB.30
path F1.out -- KEY -- MA.15
path MA.31 -- body
path MB.31 -- body
MA.31 ground
MA lives above 6 V
MA.30 supply 100 ohm awake 10 kohm asleep
MA.15 input ign pull-down 10 kohm on at 5 V off at 4 V
MA awake while ign held 2 s or MB says awake
MB.31 ground
MB lives above 6 V
MB.30 supply 100 ohm awake 10 kohm asleep
MB awake while MA says awake
"""


@pytest.mark.parametrize("order", ["settle", "time"])
def test_two_modules_that_keep_each_other_awake(order: str) -> None:
    """The bus as a loop without a wire: off and off, or on and on for ever (A15, two relays, by messages)."""
    got = run_cycle(network(MUTUAL), order=order)  # type: ignore[arg-type]
    assert got.awake == ("MA", "MB") and got.reason == "settled"
    assert {"awake MA", "awake MB"} <= set(got.self_holding)
    assert got.loops == ("awake MA ← awake MB ← awake MA",)
    cured = run_cycle(network(MUTUAL.replace(" or MB says awake", "")), order=order)  # type: ignore[arg-type]
    assert cured.asleep and cured.self_holding == () and cured.loops == ()


@pytest.mark.parametrize("operates", ["5.4 ms", "5 ms", "6.37 ms"])
def test_a_buzzer_beside_a_living_module(operates: str) -> None:
    """The module's looks drift through the buzz and change nothing: it is found after a few rounds."""
    text = f"{MUTUAL}relay KB coil 85 ohm pulls 7 V drops 3 V operates {operates}\n"
    text += "path KEY.out -- KB.30-87a -- KB.86-85 -- body\n"
    got = run_cycle(network(text), order="time")
    buzz = [i for i in got.instants if i.status == "chatter"]
    assert got.chatter == ("relay KB",) and {i.phase for i in buzz} == {"ignition-on"}
    assert got.ends()[1].status == "settled" and got.awake == ("MA", "MB")
    assert len(got.instants) < 120
    assert buzz[0].every_s is not None and 0.008 < buzz[0].every_s < 0.012
