"""What is made for one battery of two in series burns on both: a module and a winding as a load does."""

from __future__ import annotations

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

SHEET = """vehicle "24 V truck with a 12 V tap"
phase ignition-on 20 s
phase asleep 600 s
battery BAT 12.7 V 6 mohm
battery BAT2 12.7 V 6 mohm
fuse F24 20 A 4 mohm
fuse F12 20 A 4 mohm
switch KEY 10 mohm positions off, acc, on, start
KEY.30-15 closed at on, start
module RADIO
relay K12 coil 85 ohm pulls 7 V drops 3 V
lamp L24 24 V 5 W
path BAT2.- -- BAT.+
path BAT2.+ -- [W1: 16 mm2 2 m] -- F24 -- KEY.30
path KEY.15 -- L24 -- body
path BAT.+ -- [W5: 4 mm2 4 m] -- F12 -- [W6: 2.5 mm2 1 m] -- RADIO.30
path F12.out -- [W8: 2.5 mm2 1 m] -- K12.86-85 -- [W9: 2.5 mm2 1 m] -- RADIO.k
path KEY.15 -- [W7: 0.75 mm2 1 m] -- RADIO.15
path RADIO.31 -- body
path BAT.- -- [W10: 50 mm2 0.5 m] -- body
RADIO.31 ground
RADIO.30 supply 60 ohm awake 6 kohm asleep
RADIO.15 input ign pull-down 30 kohm on at 8 V off at 5 V
RADIO awake while ign
RADIO.k low-side k on 100 mohm leak 1 Mohm limit 2 A while ign
must plays: RADIO awake in ignition-on; not in asleep
"""


@pytest.mark.parametrize(
    ("feed", "broken", "burnt"),
    [
        ("from KEY.15 to RADIO.30 fuse 10 A wire 2.5 mm2 1 m cut W6", "W6 open", "RADIO.30"),
        ("from KEY.15 to K12.86 fuse 10 A wire 2.5 mm2 1 m cut W8", "W8 open", "K12"),
    ],
)
def test_both_batteries_on_what_bears_one(feed: str, broken: str, burnt: str) -> None:
    got = answer(["feed", "s", "--feed", feed, "--against", broken, "--nominal"], Files({"s": SHEET}))
    (judged,) = got["feeds"]
    marks = [r for r in judged["refusals"] if r["rule"] == "back_feed"]
    assert judged["verdict"] == "refused"
    assert {r["part"] for r in marks} == {burnt} and all(r["figure"] > 24.0 > r["limit"] for r in marks)


def test_the_same_lead_from_the_tap_holds() -> None:
    feed = "from F12.out to RADIO.30 wire 2.5 mm2 1 m cut W6"
    got = answer(["feed", "s", "--feed", feed, "--against", "W6 open", "--nominal"], Files({"s": SHEET}))
    assert got["feeds"][0]["verdict"] == "holds"
