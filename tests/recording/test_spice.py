"""Events of recordings that ngspice made, against ngspice's own instants: the model does not grade itself.

Release figures: FACTS section 3 (seen: 680 ohm 2.6 ms, diode about 8 ms and three times slower, any relay
2 to 10 ms; 1 000 to 1 500 V bare)."""

from __future__ import annotations

import math
import os

import pytest
from spice_scope import COIL_OHM, LAG_S, LETS_GO_V, RESISTOR_OHM, SUPPLY_V, SUPPRESSION, WAY_S, Lived, live

from amptrail.exchange import spice
from amptrail.recording import find_events, open_recording
from amptrail.recording.channel import Recording
from amptrail.recording.events import Event
from amptrail.recording.measures import cranks
from amptrail.recording.relays import Delay, delays

if not spice.available() and not os.environ.get("CI"):
    pytest.skip("ngspice is not installed: no recording of its making (make ngspice)",
                allow_module_level=True)  # fmt: skip

RATE = 20_000.0
Seen = tuple[Lived, Recording, list[Event]]


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Seen]:
    out: dict[str, Seen] = {}
    for kind in SUPPRESSION:
        lived = live(tmp_path_factory.mktemp(kind), kind, RATE, noise=0.05)
        got = open_recording(lived.table)
        out[kind] = lived, got, find_events(got.channels)
    return out


def let_go(one: Seen) -> Delay:
    return next(d for d in delays(one[1].channels, one[2]) if d.kind == "drop_out")


@pytest.mark.parametrize("kind", SUPPRESSION)
def test_every_instant_is_that_of_the_simulator(seen: dict[str, Seen], kind: str) -> None:
    lived, _, events = seen[kind]
    wanted = [
        ("pull_in", "K4.87", "pulled"), ("crank_start", "BAT.+", "cranking"),
        ("crank_end", "BAT.+", "cranked"),
        ("dropout_start", "K4.87", "away"), ("dropout_end", "K4.87", "back"), ("drop_out", "K4.87", "opened"),
        ("drop_out", "K4.85", "released"),
    ]  # fmt: skip
    for what, channel, meas in wanted:
        mine = [e for e in events if (e.kind, e.channel) == (what, channel)]
        assert len(mine) == 1, (what, channel, [(e.kind, e.channel, e.t_s) for e in events])
        assert mine[0].t_s == pytest.approx(lived.at[meas], abs=1.01 / RATE), what
        assert mine[0].t_low_s <= lived.at[meas] <= mine[0].t_high_s
    assert {e.kind for e in events} == {w for w, _, _ in wanted}


def test_the_sag_is_that_of_the_battery_and_the_starter(seen: dict[str, Seen]) -> None:
    """12.6 V behind 13 mohm on 47 mohm and what else is on: Ohm's law."""
    _, got, events = seen["diode"]
    one = cranks(got.channels[0], events)[0]
    load = 1 / (1 / 0.047 + 1 / 2.4 + 1 / COIL_OHM)
    assert one.mean == pytest.approx(SUPPLY_V * load / (load + 0.013), abs=0.02)


def test_release_times_of_the_three_suppressions(seen: dict[str, Seen]) -> None:
    resistor, diode, bare = (let_go(seen[k]) for k in ("resistor", "diode", "bare"))
    for kind, d in (("resistor", resistor), ("diode", diode), ("bare", bare)):
        at = seen[kind][0].at
        assert d.delay_ms == pytest.approx((at["opened"] - at["released"]) * 1000, abs=0.1)
    # i = i0 exp(-t (R + 680) / L): the law of a coil on a resistor, and the way of the armature
    by_law = LAG_S * COIL_OHM / (COIL_OHM + RESISTOR_OHM) * math.log(SUPPLY_V / LETS_GO_V) + WAY_S
    assert resistor.delay_ms == pytest.approx(by_law * 1000, abs=0.15)
    assert resistor.delay_ms == pytest.approx(2.6, abs=0.6)  # measured coil: way and drop-out are its own
    assert diode.delay_ms == pytest.approx(8, abs=1)
    assert 2.5 < diode.delay_ms / resistor.delay_ms < 4.5  # "3x slower"
    assert bare.delay_ms < resistor.delay_ms


def test_what_quenches_a_winding_is_told_from_its_spike(seen: dict[str, Seen]) -> None:
    resistor, diode, bare = (let_go(seen[k]) for k in ("resistor", "diode", "bare"))
    # the current of the winding goes on through the resistor (Ohm's law), less what one sample of decay takes
    by_law = SUPPLY_V / COIL_OHM * RESISTOR_OHM
    assert 0.8 * by_law < (resistor.spike_v or 0) < 1.01 * by_law
    assert "resistor" in (resistor.suppression or "")
    assert "diode" in (diode.suppression or "")
    assert (bare.spike_v or 0) > 300
    assert "nothing" in (bare.suppression or "")
