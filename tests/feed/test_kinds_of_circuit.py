"""Feeds on circuits of other kinds: a fan of two speeds, a sensor rail, polymer fuses, a dead winding."""

from __future__ import annotations

from typing import Any

import pytest

from amptrail.jobs.feeding.feeding import FeedOptions, feed

FAN = """
phase ignition-on 10 s
phase fan-low as running 60 s with T1 at hot
phase fan-high as running 60 s with T1 at hot, T2 at hot
phase asleep 1 h
battery BAT 12.6 V 10 mohm
fuse FF 40 A
fuse F1 10 A
switch KEY closed in ignition-on, fan-low, fan-high
switch T1 positions cold, hot
T1.1-2 closed at hot
switch T2 positions cold, hot
T2.1-2 closed at hot
relay K1 suppressed
relay K2 suppressed
resistor RL 0.35 ohm
motor FAN 0.25 ohm breaks 8 A runs 22 A at 13 V
path BAT.+ -- FF -- K1.30-87 -- [WR: 4 mm2 1 m] -- RL -- FAN -- body
path FF.out -- K2.30-87 -- RL.out
path BAT.+ -- F1 -- KEY -- K1.86-85 -- T1.1-2 -- body
path KEY.out -- K2.86-85 -- T2.1-2 -- body
path BAT.- -- body
must low: FAN.in to FAN.out 5 V or more in fan-low; 1 V or less in ignition-on, asleep
must high: FAN.in to FAN.out 10 V or more in fan-high; 1 V or less in ignition-on, asleep
"""
SENSORS = """
phase ignition-on 30 s
phase asleep 1 h
battery BAT 12.6 V
fuse F1 10 A
switch KEY closed in ignition-on
module ECU
pot TPS 5 kohm at 0.2 x
path BAT.+ -- F1 -- ECU.30
path F1.out -- KEY -- ECU.15
path ECU.v5 -- [W5: 0.5 mm2 2 m] -- TPS.3
path TPS.1 -- ECU.31
path TPS.2 -- ECU.tps
path ECU.31 -- body
path BAT.- -- body
ECU.31 ground
ECU.30 supply 40 ohm awake 30 kohm asleep
ECU.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V
ECU awake while ign
ECU.v5 reference v5 5 V 0.3 ohm limit 60 mA
ECU.tps input tps pull-down 470 kohm
must rail: TPS.3 to TPS.1 4.5 V or more in ignition-on; 1 V or less in asleep
"""
SEAT = """
phase ignition-on 30 s with SW at fwd
phase asleep 1 h
battery BAT 12.6 V
fuse FM 30 A
polyfuse P1 hold 6 A trip 14 A 30 mohm
switch SW positions off, fwd
SW.1-2 closed at fwd
motor M 1.2 ohm breaks 3 A runs 4.5 A at 12 V
connector X 3 mohm
path BAT.+ -- FM -- X.1 -- P1 -- SW.1-2 -- M -- body
path BAT.- -- body
must moves: M.in to M.out 8 V or more in ignition-on; 1 V or less in asleep
"""


def _feeds(sheet: str, **asked: Any) -> list[dict[str, Any]]:
    got = feed(sheet, FeedOptions(**asked))
    assert got["exit"] in (0, 1)
    rows: list[dict[str, Any]] = got["feeds"]
    return rows


def test_a_switch_that_only_slows_a_load_stops_nothing_by_opening() -> None:
    """With T2 open the sound fan runs slowly; past its burnt resistor it runs fast: no interlock is lost."""
    (row,) = _feeds(FAN, feeds=("from WR.out to FAN.in wire 4 mm2 0.5 m",), against=("RL open",))
    assert row["verdict"] == "holds", row["why"]
    (row,) = _feeds(FAN, feeds=("from FF.out to FAN.in wire 4 mm2 0.5 m",), against=("RL open",))
    assert "interlock" in {r["rule"] for r in row["refusals"]}  # T1 open keeps the sound fan still


def test_battery_volts_on_a_sensor_rail_are_refused_for_any_purpose() -> None:
    for text, rules in (
        ("from KEY.out to TPS.3 fuse 5 A wire 1 mm2 2 m cut W5", {"back_feed"}),
        ("from ECU.v5 to TPS.3 wire 0.5 mm2 2 m", set()),
    ):
        (row,) = _feeds(SENSORS, feeds=(text,), against=("W5 open",), purpose="try")
        assert {r["rule"] for r in row["refusals"]} == rules, row["why"]
        assert ("they burn" in row["why"]) is bool(rules)


LORRY = """
phase running 30 s
phase asleep 1 h
battery LOW 12.5 V 8 mohm
battery HIGH 12.5 V 8 mohm
fuse FR 5 A
fuse F1 10 A
switch KEY closed in running
load RADIO 1.5 A above 9 V
lamp L 24 V 21 W
path LOW.- -- body
path LOW.+ -- [W0: 25 mm2 0.3 m] -- HIGH.-
path HIGH.+ -- F1 -- KEY -- L -- body
path LOW.+ -- [WR: 1.5 mm2 4 m] -- FR -- RADIO -- body
must radio: RADIO.in to RADIO.out 9.5 V or more in running
must lit: L.in to L.out 18 V or more in running; 2 V or less in asleep
"""


def test_no_load_of_one_battery_is_fed_by_two() -> None:
    for start, refused in (("F1.in", True), ("LOW.+", False)):
        text = f"from {start} to RADIO.in fuse 5 A wire 1.5 mm2 0.2 m cut WR"
        (row,) = _feeds(LORRY, feeds=(text,), against=("FR open",), purpose="try")
        told = [r["part"] for r in row["refusals"] if r["rule"] == "back_feed"]
        assert ("RADIO" in told) is refused and ("it burns" in row["why"]) is refused, row["why"]


def test_a_feed_behind_or_beside_a_polymer_fuse_is_judged() -> None:
    """Its current is held at what it trips at: the wire behind must bear that for ever."""
    for size, broken in (("2.5 mm2", set()), ("0.35 mm2", {"dead_short_not_cleared", "wire_rating"})):
        (row,) = _feeds(SEAT, feeds=(f"from P1.out to M.in wire {size} 1 m",), against=("SW.1-2 open",))
        got = {r["rule"] for r in row["refusals"]}
        assert got & {"dead_short_not_cleared", "wire_rating"} == broken, row["why"]


@pytest.mark.parametrize("against", ["P1 open", "X.1 open", "SW.1-2 open"])
def test_feeds_are_found_past_a_polymer_fuse(against: str) -> None:
    rows = _feeds(SEAT, restore=("M",), against=(against,))
    assert any(r["verdict"] == "holds" for r in rows) or against == "SW.1-2 open"


def test_a_dead_winding_is_bridged_as_its_contact_and_a_chafed_metal_cut_at_both_ends() -> None:
    rows = _feeds(FAN, restore=("low",), against=("K1.coil open",))
    assert rows[0]["verdict"] == "holds" and "relay" in rows[0]["text"]
    rows = _feeds(FAN, restore=("low",), against=("K1.87 to ground 0.1 ohm",))
    assert all("cut" in r["text"] and "K1.87" in r["text"].split("cut")[1] for r in rows) and rows
