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
            assert all(name in got.loops[0] for name in everyone)
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
        assert got.loops == ("relay K1 switches itself for ever in running",)
        assert [i.status for i in got.ends()] == ["settled", "chatter", "settled"]


def test_a_load_left_on_is_explained_by_what_feeds_it() -> None:
    text = seal_in("closed in ignition-on", "closed in ignition-on, running, asleep")
    text = text.replace("resistor LOAD 6 ohm", "heater LOAD 6 ohm")
    got = run_cycle(network(text))
    why = next(c for c in got.why if c.item == "load LOAD")
    assert "from BAT through F1, STOP, K.87" in why.because
    assert "relay K" in [c.item for c in why.by]
