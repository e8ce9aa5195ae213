"""What is unplugged takes the short inside it along; a plug that is parted tells on which side it leaks.

Worked by hand: a short inside the sensor holds the 5 V line down, so with the sensor off the line must rise.
Water in the half towards the load feeds the input from the supply there; parted, the other half reads 0 V.
"""

from __future__ import annotations

from typing import Any

from amptrail.jobs.judging.suspects import suspects

SENSORS = """vehicle "Two sensors on one reference"
phase ignition-on 10 s
phase asleep 60 s
battery BAT
fuse F1 10 A
switch KEY closed in ignition-on
module ECM
splice S5
splice SG
sensor MAP 4 kohm
sensor FPS 3 kohm
connector XF rows "1 2"
path BAT.+ -- F1 -- KEY -- ECM.30
path ECM.31 -- body
path ECM.v5 -- [W1: 0.5 mm2 1.5 m] -- S5 -- [W3: 0.5 mm2 0.5 m] -- MAP.1
path S5 -- [W5: 0.5 mm2 0.8 m] -- XF.1 -- FPS.1
path ECM.sg -- SG
path SG -- MAP.3
path SG -- XF.2 -- FPS.3
ECM.31 ground
ECM.sg ground
ECM.30 supply 30 ohm awake 30 ohm asleep
ECM.v5 reference v5 5 V 0.3 ohm limit 60 mA
ECM awake while always
"""
WIPER = """vehicle "Wiper module behind a plug"
phase ignition-on 20 s
phase asleep 1 h
battery BAT
fuse F1 20 A
switch KEY closed in ignition-on
switch WSW never closed
connector XW rows "1 2 3"
module WCM
path BAT.+ -- F1 -- KEY -- [W1: 2.5 mm2 2 m] -- XW.1 -- WCM.30
path KEY.out -- WSW -- [W2: 0.5 mm2 2 m] -- XW.2 -- WCM.in
path WCM.31 -- XW.3 -- [W3: 2.5 mm2 1 m] -- body
WCM.31 ground
WCM.30 supply 50 ohm awake 50 ohm asleep
WCM.in input req pull-down 2 kohm on at 6 V off at 4 V
WCM awake while always
"""
LINE = "S5.1 in ignition-on meter 0.03 V\n"


def _rows(sheet: str, readings: str) -> list[dict[str, Any]]:
    return list(suspects(sheet, readings)["suspects"])


def _chance(rows: list[dict[str, Any]], start: str) -> float:
    return sum(float(r["probability"]) for r in rows if r["text"].startswith(start))


def test_a_short_inside_a_sensor_goes_when_the_sensor_is_unplugged() -> None:
    first = _rows(SENSORS, LINE)
    alike = [t for r in first for t in (r["text"], *r["equivalent"])]
    assert any(t.startswith("MAP.1 to MAP.3") for t in alike)
    tried = _rows(SENSORS, LINE + "with MAP unplugged\n" + LINE + "without conditions\n")
    assert _chance(tried, "MAP.1 to MAP.3") < 0.1
    led = next(r for r in tried if "to ground" in r["text"])
    assert not any(t.startswith("MAP.1 to MAP.3") for t in led["equivalent"])


def test_with_the_sensor_off_and_the_line_up_the_short_is_inside_it() -> None:
    rose = "with MAP unplugged\nS5.1 in ignition-on meter 5.00 V\nwithout conditions\n"
    rows = _rows(SENSORS, LINE + rose)
    assert rows[0]["text"].startswith("MAP.1 to MAP.3") and rows[0]["probability"] > 0.5


def test_a_parted_plug_tells_in_which_half_the_water_is() -> None:
    wet = "WCM.in to WCM.31 in ignition-on meter 9.9 V\n"
    parted = "with XW unplugged\nXW.2.a in ignition-on meter {} V\nwithout conditions\n"
    there, here = "XW.1.b to XW.2.b", "XW.1.a to XW.2.a"
    load_side, feed_side = (_rows(WIPER, wet + parted.format(v)) for v in ("0.0", "12.4"))
    assert _chance(load_side, there) > 10 * _chance(load_side, here)
    assert _chance(feed_side, here) > 10 * _chance(feed_side, there)
