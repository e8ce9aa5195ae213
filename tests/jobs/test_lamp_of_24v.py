"""On 24 V no 12 V lamp is held to anything, nor put in the place of a fuse; one that bears it is."""

from __future__ import annotations

from typing import Any

import pytest

from amptrail.jobs.judging.bypasses import in_fuse_place
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.sheet import parse

LORRY = """
phase running 9 s
phase asleep 1 h
battery LOW 12.5 V
battery HIGH 12.5 V
fuse F1 10 A
switch S closed in running
lamp L 24 V 21 W
path LOW.- -- [W0: 25 mm2 1 m] -- body
path LOW.+ -- [W1: 25 mm2 0.3 m] -- HIGH.-
path HIGH.+ -- F1 -- [W2: 1.5 mm2 4 m] -- S -- L -- body
must lit: L.in to L.out 18 V or more in running; 2 V or less in asleep
"""
DARK = "lit in running does not work\n"


def _tools(readings: str, **more: Any) -> tuple[set[str], list[dict[str, Any]]]:
    got = next_tests(LORRY, readings, NextOptions(doubles="off", **more))
    return {t["instrument"] for v in got["visits"] for t in v["tests"]}, got["refused"]


@pytest.mark.parametrize(("mine", "held"), [("", False), ('my lamp "24 V 5 W"\n', True)])
def test_a_lamp_is_offered_where_it_bears_the_volts(mine: str, held: bool) -> None:
    only, refused = _tools(mine + DARK, have=("lamp",))
    assert ("lamp" in only) is held
    assert [r["line"] for r in refused] == ([] if held else ["lamp"])
    assert "lamp" in _tools(mine + DARK)[0] or not held


def test_no_12_v_lamp_in_the_place_of_a_fuse() -> None:
    circuit = parse(LORRY)
    assert not list(in_fuse_place(circuit, next(p for p in circuit.parts if p.name == "F1")))
