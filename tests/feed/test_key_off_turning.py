"""A charge warning lamp bridged: the turning alternator keeps the ignition alive after the key is off."""

from __future__ import annotations

import json

from amptrail.cycle import named_starts
from amptrail.jobs.feeding.feeding import FeedOptions, feed
from amptrail.jobs.proving import prove
from amptrail.sheet import parse

SHEET = """phase ignition-on 10 s
phase running 60 s
phase after-run 10 s
phase asleep 1 h
battery BAT 12.6 V 10 mohm
alternator ALT 14.3 V 20 mohm field 22 ohm excites 90 mA
fuse F1 30 A
switch KEY positions off, on
KEY.30-15 closed at on
lamp CHG 12 V 3 W
solenoid COIL 4 ohm
path BAT.+ -- [W1: 4 mm2 1 m] -- F1 -- [W2: 4 mm2 1 m] -- KEY.30-15 -- [W3: 1 mm2 1 m] -- CHG
path CHG -- [W4: 1 mm2 1 m] -- ALT.D+
path KEY.15 -- [W5: 1.5 mm2 1 m] -- COIL -- body
path ALT.B+ -- [W6: 16 mm2 1 m] -- BAT.+
path ALT.31 -- body
path BAT.- -- [W7: 16 mm2 0.5 m] -- body
must sparks: COIL.in to COIL.out 8 V or more in running; 4 V or less in after-run, asleep
must charges: ALT.B+ to ALT.31 13 V or more in running
"""


def _judged(text: str) -> tuple[str, set[tuple[str, str]]]:
    row = feed(SHEET, FeedOptions(feeds=(text,), against=("CHG open",), purpose="home"))["feeds"][0]
    return row["verdict"], {(m["rule"], m["start"]) for m in row["refusals"]}


def test_the_engine_would_run_on_through_a_bridged_warning_lamp() -> None:
    verdict, broken = _judged("from KEY.15 to ALT.D+ fuse 10 A wire 1 mm2 1 m")
    assert verdict == "refused"
    assert {("off_when_required", "key-off-turning"), ("back_feed", "key-off-turning")} <= broken


def test_a_lamp_in_the_bridge_lets_it_stop() -> None:
    _, broken = _judged("from KEY.15 to ALT.D+ lamp 3 W fuse 5 A wire 1 mm2 1 m")
    assert not {rule for rule, start in broken if start == "key-off-turning"}


def test_the_start_is_there_where_an_alternator_is_drawn_and_is_proved_again() -> None:
    assert "key-off-turning" in named_starts(parse(SHEET))
    assert "key-off-turning" not in named_starts(parse("battery BAT\nlamp L\npath BAT.+ -- L -- BAT.-\n"))
    options = FeedOptions(
        feeds=("from KEY.15 to CHG.in fuse 5 A wire 1 mm2 1.5 m cut W3",), against=("W3 open",),
        purpose="home", prove=True,
    )  # fmt: skip
    got = feed(SHEET, options)
    assert got["feeds"][0]["verdict"] == "holds"
    told = prove(json.dumps(got["feeds"][0]["proof"]), SHEET)
    assert told["valid"], (told["step"], told["reason"])
