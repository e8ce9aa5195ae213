"""What is broken may lie between two batteries, or on the way of a source that only feeds at rest."""

from __future__ import annotations

import pytest

from amptrail.feed.search.broken import stretches
from amptrail.feed.search.need import functions_of, healthy_life
from amptrail.sheet import parse, parse_fault

SHEET = """phase ignition-on 10 s
phase running 60 s
phase asleep 1 h
battery B1 12.6 V 10 mohm
battery B2 12.6 V 10 mohm
alternator ALT 28.4 V 10 mohm spins in running
switch K closed in ignition-on, running
lamp L 24 V 21 W
path B1.- -- body
path B1.+ -- [WS: 35 mm2 0.3 m] -- B2.-
path B2.+ -- [WB: 35 mm2 1 m] -- K.in
path ALT.B+ -- [WA: 16 mm2 1 m] -- K.in
path ALT.31 -- body
path K.out -- [WL: 1 mm2 2 m] -- L -- body
must lit: L.in to L.out 18 V or more in ignition-on, running
"""


@pytest.mark.parametrize("broken", ["WS", "WB", "WL"])
def test_every_lead_that_some_phase_needs_is_on_the_way(broken: str) -> None:
    circuit = parse(SHEET)
    (must,) = functions_of(circuit, "lit")
    found = stretches(circuit, healthy_life(circuit).network, must, parse_fault(circuit, f"{broken} open"))
    assert broken in {e.part for s in found for e in s.links}
