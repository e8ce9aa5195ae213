"""What a bypass may do, told before it is tried; figures by hand from the sheets, laws named beside them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from amptrail.circuit.model import Circuit, Fault, Term
from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.feed.danger import booster, bridge, danger
from amptrail.jobs.base.faultnames import named_or_text
from amptrail.sheet import parse, parse_feed

DEMOS = Path(__file__).parents[2] / "demos"


@cache
def _circuit(demo: str) -> Circuit:
    return parse((DEMOS / f"{demo}.sheet").read_text(encoding="utf-8"))


def _suspects(c: Circuit, *texts: str) -> list[tuple[str, tuple[Fault, ...]]]:
    return [(t, named_or_text(c, t)) for t in texts]


def test_a_bridged_start_relay_cranks_the_engine_with_the_key_on() -> None:
    c = _circuit("starter")
    told = danger(c, bridge(Term("K1", "30"), Term("K1", "87"), fuse_a=30.0), (), phase=0)
    assert told.cranks == ("STA",)
    assert any("may crank" in s for s in told.sentences)


def test_a_small_lamp_across_the_start_relay_does_not_crank_and_two_headlamps_do() -> None:
    """Cold filament a tenth of hot (common practice). The windings: 1.2 beside 0.4 + 0.05 ohm is 0.327 ohm;
    the leads about 0.04 ohm. Two lamps of 55 W are 0.13 ohm cold: 12.6 x 0.327 / 0.50 = 8.3 V at terminal 50,
    above the 7.5 V it pulls at. One of 55 W is 0.26 ohm: 6.5 V. 21 W is 0.69 ohm: 3.9 V."""
    c = _circuit("starter")
    for watts, cranks in ((21.0, ()), (55.0, ()), (110.0, ("STA",))):
        told = danger(c, bridge(Term("K1", "30"), Term("K1", "87"), lamp_w=watts), (), phase=0)
        assert told.cranks == cranks, watts


def test_the_worst_current_is_that_of_the_suspect_that_shorts() -> None:
    """Pump behind K4 bridged by 15 A: about 6 A healthy; a chafe of 0.05 ohm behind it takes what the wires
    let through, 12.6 V over some 0.1 ohm: above 60 A, twice the fuse, open within 5 s (ISO 8820-3, 200 %)."""
    c = _circuit("sprayer")
    across = bridge(Term("K4", "30"), Term("K4", "87"), fuse_a=15.0)
    healthy = danger(c, across, ())
    assert 3.0 < healthy.worst_a < 9.0
    assert healthy.worst_if == ""
    told = danger(c, across, _suspects(c, "K4 stuck off", "X7.4.b to ground 50 mohm"))
    assert told.worst_a > 60.0
    assert told.worst_if == "X7.4.b to ground 50 mohm"
    assert told.opens_s is not None
    assert told.opens_s <= 5.0


def test_a_thin_wire_lasts_as_long_as_its_copper_bears() -> None:
    """t = (115 S / I)^2, IEC 60364-4-43: the 1.5 mm2 lead before the chafe; 60 A would let it burn, a fuse of
    15 A opens within 0.5 s (ISO 8820-3, 350 %)."""
    c = _circuit("sprayer")
    pins, chafed = (Term("K4", "30"), Term("K4", "87")), _suspects(c, "X7.4.b to ground 50 mohm")
    assert danger(c, bridge(*pins, fuse_a=15.0), chafed, out=("K4",)).burns == ()
    told = danger(c, bridge(*pins, fuse_a=60.0), chafed, out=("K4",))
    first = told.burns[0]
    assert first.wire == "W9"
    assert first.seconds == pytest.approx((115 * 1.5 / first.amps) ** 2, rel=1e-6)
    assert first.suspect == "X7.4.b to ground 50 mohm"


def test_a_rail_and_a_module_that_wake_are_named() -> None:
    """The coil pin of K4 hangs on F3, which also wakes the controller."""
    c = _circuit("sprayer")
    asleep = len(c.phases) - 1
    told = danger(c, parse_feed(c, "from F9.out to K4.86 fuse 5 A"), (), phase=asleep)
    assert told.wakes == ("ECM",)
    assert "F3.out" in told.rails
    assert any("wakes ECM" in s for s in told.sentences)


def test_a_booster_cable_to_a_sound_engine_ground_is_told_its_share() -> None:
    c = _circuit("starter")
    sound = danger(c, booster(c, Term("STA", "31")), ())
    lost = danger(c, booster(c, Term("STA", "31")), _suspects(c, "CLAMP_N open"))
    assert lost.worst_a > sound.worst_a > 0.0
    assert lost.worst_if == "CLAMP_N open"


def test_with_the_relay_out_all_of_it_goes_through_the_bridge() -> None:
    """With K4 pulled in beside the bridge its contact takes its share: 3 mohm against fuse and clips."""
    c = _circuit("sprayer")
    across = bridge(Term("K4", "30"), Term("K4", "87"), fuse_a=60.0)
    chafed = _suspects(c, "X7.4.b to ground 50 mohm")
    beside = danger(c, across, chafed, phase=0)
    alone = danger(c, across, chafed, phase=0, out=("K4",))
    assert alone.worst_a > 1.2 * beside.worst_a
    assert alone.worst_a == pytest.approx(alone.burns[0].amps, rel=0.01)
    assert alone.outputs == ()  # the warning lamp is none of its doing


def test_next_tells_the_danger_of_a_bypass_it_proposes() -> None:
    files = Files({
        "s": (DEMOS / "sprayer.sheet").read_text(encoding="utf-8"),
        "r": "battery 12.5 V\nPUMP in ignition-on does not work\nPUMP.in in ignition-on meter 0 V\n"
             "K4 in ignition-on clicks\n",
    })  # fmt: skip
    visits = answer(["next", "s", "r"], files)["visits"]
    bypasses = [t for v in visits for t in v["tests"] if t["action"] == "bypass"]
    assert bypasses
    assert any("through the bypass" in c for c in bypasses[0]["cautions"])
