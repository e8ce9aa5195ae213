"""A pulsed output: what a DC meter, a test lamp, a fuse, a relay and a current limit make of it.

The figures are those of a switched resistive circuit, worked out here by hand (Ohm's law in both shares of a
period; mean and root of the mean square of a rectangular wave, as in any text on alternating current).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail import twin
from amptrail.circuit.model import Circuit, Term
from amptrail.sheet import parse
from amptrail.solve import Network, Tap, assemble, read, run

SHEET = """
laws oracle-1
phase running 5 s
battery BAT 12 V 0.001 mohm charge 0.001 mohm
fuse F1 10 A 0.001 mohm
resistor R {ohm} ohm
module ECM
ECM.31 ground
ECM.30 supply 1 Mohm awake 1 Mohm asleep
ECM.out {side} out duty {duty} x on 0.001 mohm leak 1000 Mohm {limit} while phase running
splice SP
path BAT.+ -- F1 -- SP
path SP -- ECM.30
{load}
path ECM.31 -- BAT.-
"""
WIRES = 3e-4  # a wire of no stated length is some milliohms beside 6 ohm
LOW = "path SP -- R -- ECM.out"
HIGH = "path ECM.out -- R -- BAT.-"


def circuit(
    duty: float, side: str = "low-side", load: str = LOW, ohm: float = 6.0, limit: str = ""
) -> Circuit:
    return parse(SHEET.format(duty=duty, side=side, load=load, ohm=ohm, limit=limit), "pulsed")


def shown(c: Circuit, *taps: Tap) -> list[float]:
    """What the taps read at the end of the one phase."""
    net = assemble(c)
    got = read(net, run(net, [()]), taps)
    assert not np.any(got.status)
    return [float(v) for v in got.value[0, 0]]


@settings(max_examples=20, deadline=None)
@given(st.floats(0.05, 0.95))
def test_a_meter_shows_the_mean_and_a_lamp_what_heats(duty: float) -> None:
    pin = Term("ECM", "out")
    mean, heat = shown(circuit(duty), Tap(pin), Tap(pin, instrument="lamp", parameters=(12.0, 1e-6)))
    assert mean == pytest.approx(12.0 * (1.0 - duty), abs=2e-5)
    assert heat == pytest.approx(
        12.0 * math.sqrt(1.0 - duty), abs=2e-3
    )  # the lamp of 1 uW loads the resistor


def test_a_clamp_shows_the_mean_current() -> None:
    (amps,) = shown(circuit(0.3), Tap("R", instrument="clamp"))
    assert amps == pytest.approx(0.3 * 2.0, rel=WIRES)


def test_a_half_bridge_gives_its_duty_of_the_supply() -> None:
    c = circuit(0.7, "half-bridge", HIGH)
    assert shown(c, Tap(Term("ECM", "out")))[0] == pytest.approx(0.7 * 12.0, rel=WIRES)


def fuses_and_trips(c: Circuit) -> tuple[list[str], list[str]]:
    words = twin.state_words(list(twin.walk(c))[-1].state)
    return words["fuses_blown"], words["drivers_tripped"]


@pytest.mark.parametrize(("duty", "opens"), [(0.40, False), (0.50, True)])
def test_a_fuse_opens_by_what_heats_it(duty: float, opens: bool) -> None:
    """20 A in pulses through a 10 A fuse: 12.6 A of heat at 0.40, 14.1 A at 0.50, while the mean at 0.50 is
    10 A; it opens above 13.5 A."""
    c = circuit(duty, ohm=0.6)
    assert net_states(assemble(c))[0] == fuses_and_trips(c)[0] == (["F1"] if opens else [])


def net_states(net: Network) -> tuple[list[str], list[str]]:
    state = run(net, [()]).state(0, 0)
    return list(state.fuses_open), list(state.drivers_tripped)


def test_a_current_limit_sees_the_peak() -> None:
    """2 A in pulses of a tenth of the time, 0.2 A in the mean, against a limit of 1 A."""
    c = circuit(0.1, limit="limit 1 A latches until key-off")
    assert net_states(assemble(c))[1] == fuses_and_trips(c)[1] == ["ECM.out"]


@pytest.mark.parametrize("side,load", [("low-side", LOW), ("high-side", HIGH), ("half-bridge", HIGH)])
@pytest.mark.parametrize("instrument", ["meter", "lamp", "loaded", "led"])
def test_two_computations_agree(side: str, load: str, instrument: str) -> None:
    c = circuit(0.35, side, load)
    moment = list(twin.walk(c))[-1]
    pin = Term("ECM", "out")
    theirs = twin.read(moment, pin, None, instrument)
    assert theirs.value is not None
    assert shown(c, Tap(pin, instrument=instrument))[0] == pytest.approx(theirs.value, abs=1e-9)  # type: ignore[arg-type]
