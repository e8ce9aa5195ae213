"""An LED lamp of several junctions in series conducts: one clipped exponential left it dark at 12.6 V."""

from __future__ import annotations

import math

import pytest

from amptrail.sheet import parse
from amptrail.solve import Tap, assemble, read, run
from amptrail.solve.laws import THERMAL_V

SHEET = """vehicle "A strip on the battery"
battery B 12.6 V 10 mohm
led L forward {} V {} ohm
path B.+ -- L -- B.-
path B.- -- body
"""


def _amps(forward_v: float, ohm: float) -> float:
    net = assemble(parse(SHEET.format(forward_v, ohm)))
    return float(read(net, run(net, [()]), [Tap("L", instrument="clamp")]).value[0, 0, 0])


@pytest.mark.parametrize(
    ("forward_v", "ohm"), [(2.0, 470.0), (3.2, 220.0), (9.0, 47.0), (6.4, 100.0), (11.0, 10.0)]
)
def test_the_current_is_that_of_its_junctions_and_its_resistor(forward_v: float, ohm: float) -> None:
    """Bisection of forward + 2 k kT/q ln(i / 10 mA) + i R = 12.6 V, with k junctions of at most 4 V."""
    k = max(1, math.ceil(forward_v / 4.0))
    low, high = 1e-9, 1.0
    for _ in range(200):
        i = (low + high) / 2
        volts = forward_v + 2 * k * THERMAL_V * math.log(i / 0.01) + i * (ohm + 0.01)
        low, high = (i, high) if volts < 12.6 else (low, i)
    assert _amps(forward_v, ohm) == pytest.approx(i, rel=0.02)
