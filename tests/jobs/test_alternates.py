"""`meter alternates` is a reading like any other: it speaks for what never comes to rest."""

from __future__ import annotations

import pytest

from amptrail.jobs.judging.suspects import judge, suspects
from amptrail.sheet import parse

BUZZER = """vehicle "Relay that feeds its own coil"
place cab 1 min
phase ignition-on 10 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm at cab
fuse F1 15 A at cab
switch SW closed in ignition-on at cab
relay K1 coil 85 ohm pulls 7 V drops 3 V at cab
lamp L1 12 V 21 W at cab
ground G1 at cab
path BAT.+ -- [W1: RD 2.5 mm2 1 m] -- F1 -- SW -- K1.30
path K1.87a -- [W2: YE 1 mm2 1 m] -- K1.86
path K1.85 -- [W3: BN 1 mm2 1 m] -- G1
path K1.87 -- [W4: YE 1 mm2 1 m] -- L1 -- G1
path BAT.- -- [W5: BK 16 mm2 0.5 m] -- body
must buzz: K1.86 to K1.85 1 V or more in ignition-on
"""


@pytest.mark.parametrize(
    "said", ["K1.86 in ignition-on meter alternates", "W4.in in ignition-on meter alternates"]
)
def test_what_goes_up_and_down_speaks_for_a_coil_that_feeds_itself(said: str) -> None:
    circuit = parse(BUZZER)
    j = judge(circuit, said, "off")
    assert not j.ignored
    share = {s.key: float(p) / s.prior for s, p in zip(j.suspects, j.post.probability, strict=True)}
    for dead in ("F1:open", "W1:open", "K1.coil:open"):
        assert share["nothing-broken"] > 5 * share[dead], dead


def test_what_rests_does_not_go_up_and_down() -> None:
    got = suspects(BUZZER, "K1.86 in asleep meter alternates")
    assert got["readings_used"] == 1
    assert got["doubtful_reading"] is not None or got["unexplained"]["p_value"] < 0.5
