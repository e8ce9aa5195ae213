"""Heat, codes, currents without a sign: what else than figures speaks for a fault."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from amptrail.jobs.evidence.warmth import rise_k
from amptrail.jobs.judging.suspects import judge
from amptrail.sheet import parse

ROOT = Path(__file__).parents[2]
SPRAYER = (ROOT / "demos" / "sprayer.sheet").read_text(encoding="utf-8")
BRAKE = """
vehicle "two grounds"
phase ignition-on 10 s
phase asleep 60 s
battery BAT 12.6 V
switch S closed in ignition-on
heater H 1 ohm
joint MAIN 1 mohm
path BAT.+ -- [W1: RD 4 mm2 1 m] -- S -- [W2: RD 4 mm2 1 m] -- H
path H.out -- [W3: BK 4 mm2 1 m] -- MAIN -- [W4: BK 4 mm2 1 m] -- BAT.-
path H.out -- [W5: BK 0.75 mm2 1 m] -- body
path BAT.- -- [W6: BK 16 mm2 0.5 m] -- body
must warm: H.in to H.out 9 V or more in ignition-on; 1 V or less in asleep
"""


def _p(sheet: str, readings: str, *parts: str) -> float:
    j = judge(parse(sheet), readings, doubles="off")
    rows = zip(j.suspects, j.post.probability, strict=True)
    return sum(float(p) for s, p in rows if any(f.at.part in parts for c in s.causes for f in c.faults))


def test_a_wire_at_its_ampacity_reaches_its_insulation_limit() -> None:
    """33 CFR 183.425 Table 5: 16 AWG (1.309 mm2), 105 C insulation outside engine spaces, 25 A at 30 C."""
    assert float(rise_k(1.309, np.asarray([25.0]), 1e6)[0]) == pytest.approx(75.0, rel=0.02)


def test_a_short_pulse_warms_a_wire_adiabatically() -> None:
    """Handbook copper (1.7e-8 ohm m, 3.45 MJ/m3K, from memory): 100 A in 10 mm2 warms 0.5 K in a second."""
    assert float(rise_k(10.0, np.asarray([100.0]), 1.0)[0]) == pytest.approx(0.51, rel=0.1)


def test_a_hot_thin_lead_blames_the_thick_one_beside_it() -> None:
    before = _p(BRAKE, "", "MAIN", "W3", "W4")
    after = _p(BRAKE, "W5 in ignition-on hand hot\nwarm in ignition-on works\n", "MAIN", "W3", "W4")
    cold = _p(BRAKE, "W5 in ignition-on hand cold\nwarm in ignition-on works\n", "MAIN", "W3", "W4")
    assert after > 2 * before
    assert cold < before


def test_a_current_without_a_sign_is_a_size_and_one_with_a_sign_has_a_way() -> None:
    j = judge(parse(BRAKE), "W6 in ignition-on clamp 1.7 A\n", doubles="off")
    turned = judge(parse(BRAKE), "W6 in ignition-on clamp +1.7 A\n", doubles="off")
    back = judge(parse(BRAKE), "W6 in ignition-on clamp -1.7 A\n", doubles="off")
    told, plus, minus = (x.post.evidence_nats for x in (j, turned, back))
    assert told == pytest.approx(max(plus, minus), abs=0.05)
    assert min(plus, minus) < told - 2


def test_a_code_of_the_pumps_circuit_points_to_what_the_module_sees_there() -> None:
    fails = "PUMP in ignition-on does not work\n"
    coil = ("W13", "W14", "K4")
    assert _p(SPRAYER, fails + "ECM says P0230 in ignition-on\n", "W14") > 2 * _p(SPRAYER, fails, "W14")
    unseen = _p(SPRAYER, fails + "ECM says P0230 in ignition-on\n", "W10", "W11", "G2")
    assert unseen < _p(SPRAYER, fails, "W10", "W11", "G2"), "beyond the relay the module sees nothing"
    assert _p(SPRAYER, fails + "ECM says P0230 in ignition-on\n", *coil) > _p(SPRAYER, fails, *coil)
