"""The vehicle's volts from its batteries, and parts whose defaults are those of another vehicle."""

from __future__ import annotations

import pytest

from amptrail.circuit.checks import check
from amptrail.circuit.supply import nominal_v
from amptrail.circuit.tables import number
from amptrail.sheet import parse

FUSES = """
battery BAT 12 V
polyfuse A hold 5 A
polyfuse B hold 5 A trip 8 A
polyfuse C
"""
TWO = "battery BAT 12 V\nbattery B2 12 V"
TAIL = """
relay K1
switch S closed in ignition-on
path BAT.- -- body
path {plus} -- S -- K1.86-85 -- body
"""


@pytest.mark.parametrize(
    ("batteries", "plus", "volts"),
    [
        ("battery BAT 12.6 V", "BAT.+", 12.0),
        ("battery BAT 6.3 V", "BAT.+", 6.0),
        ("battery BAT 25.2 V", "BAT.+", 24.0),
        (f"{TWO}\npath BAT.+ -- [W1: 50 mm2 0.3 m] -- B2.-", "B2.+", 24.0),
        (f"{TWO}\npath B2.- -- body\npath BAT.+ -- [W1: 50 mm2 1 m] -- B2.+", "BAT.+", 12.0),
    ],
    ids=["one", "six volts", "one of 24", "two in series", "two side by side"],
)  # fmt: skip
def test_volts_of_the_vehicle(batteries: str, plus: str, volts: float) -> None:
    circuit = parse(batteries + TAIL.format(plus=plus), "bench")
    assert nominal_v(circuit) == volts
    told = [p for p in check(circuit) if p.code == "other-volts"]
    assert [p.severity for p in told] == ([] if volts == 12.0 else ["note"])
    assert all("K1" in p.message for p in told)


def test_a_polymer_fuse_trips_at_twice_what_it_holds() -> None:
    """Common practice: the usual ratio of trip to hold current of polymer fuses."""
    said = {p.name: p for p in parse(FUSES, "bench").parts}
    assert [number(said[n], "trip_a") for n in "ABC"] == [10.0, 8.0, 2.0]
