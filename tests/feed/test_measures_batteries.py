"""What is drawn asleep where there are several batteries: in series once, each for itself besides."""

from __future__ import annotations

import pytest

from amptrail.circuit.supply import returning
from amptrail.jobs.cycle import cycle
from amptrail.jobs.feeding.feeding import FeedOptions, feed
from amptrail.sheet import parse

SHEET = """phase ignition-on 10 s
phase asleep 1 h
battery B1 12.6 V 10 mohm
battery B2 12.6 V 10 mohm
fuse F1 10 A
resistor R 25.2 ohm
switch K closed in ignition-on
lamp L 24 V 5 W
path B1.- -- body
path B1.+ -- [WA: 35 mm2 0.3 m] -- {}
path B2.+ -- F1 -- R -- body
path F1.out -- K -- L -- body
must l: L.in 9 V or more in ignition-on
"""
SERIES, PARALLEL = SHEET.format("B2.-"), SHEET.format("B2.+\npath B2.- -- body")


@pytest.mark.parametrize(("text", "below", "amps"), [(SERIES, ("B1",), 1.0), (PARALLEL, ("B1", "B2"), 0.5)])
def test_batteries_in_series_give_their_current_once(text: str, below: tuple[str, ...], amps: float) -> None:
    assert returning(parse(text)) == below
    assert cycle(text)["end"]["sleep_a"] == pytest.approx(amps, rel=0.01)


def test_the_battery_that_is_drained_most_is_named_with_what_it_gives_alone() -> None:
    options = FeedOptions(
        feeds=("from F1.out to L.in fuse 5 A wire 1 mm2 1 m",), against=("K stuck off",), nominal=True
    )
    row = feed(PARALLEL, options)["feeds"][0]
    total = row["flags"]["sleep_current_a"]["asleep_start"]
    assert row["drained"]["amps"] == pytest.approx(total / 2, rel=0.1)
