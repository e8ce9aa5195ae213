"""Slots of relays and fuses: what was pulled was there, an empty one is seen, a lamp goes in its place."""

from __future__ import annotations

from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.offers import sensed
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.sheet import parse, parse_fault

HORN = """
phase ignition-on 10 s
phase honk as ignition-on 3 s with PUSH at pressed
phase asleep 1 h
battery BAT
fuse F5 20 A
relay K7
switch PUSH positions rest, pressed
PUSH.1-2 closed at pressed
load HORN 5 A
path BAT.+ -- F5 -- K7.30-87 -- HORN -- BAT.-
path F5.out -- K7.86-85 -- PUSH.1-2 -- BAT.-
must horn: HORN.in to HORN.out 8 V or more in honk; 1 V or less in ignition-on, asleep
"""
SILENT = "horn in honk does not work\nK7 in honk sounds silent\nPUSH.1 in honk meter 0 V\n"

RADIO = """
phase ignition-on 10 s
phase after-run 10 s
phase asleep 1 h
battery BAT
fuse F1 10 A
switch KEY closed in ignition-on
module RAD
path BAT.+ -- F1 -- RAD.30
path F1.out -- KEY -- RAD.15
path RAD.31 -- BAT.-
RAD.31 ground
RAD.30 supply 30 ohm awake 15 kohm asleep
RAD.15 input ign pull-down 10 kohm on at 6 V off at 4 V
RAD awake while ign
RAD plays while ign
must plays: RAD plays in ignition-on; not in asleep
"""


def _first(readings: str) -> tuple[str, list[str]]:
    """The relay's own row: its text and what stands behind it."""
    got = suspects(HORN, readings, SuspectOptions(doubles="off", top=50))["suspects"]
    row = next(r for r in got if r["text"].startswith(("K7 missing", "K7.coil open")))
    return row["text"], row["equivalent"]


def test_a_look_tells_an_empty_socket_from_a_bad_relay() -> None:
    assert "K7 missing" in _first(SILENT)[1]
    assert _first(SILENT + "K7 in off looks missing\n")[0] == "K7 missing"
    assert _first(SILENT + "K7 in off looks bad\n")[0] == "K7.coil open"


def test_what_was_pulled_out_was_there() -> None:
    """Nobody pulls a relay out of an empty socket; the line stays one reading."""

    def missing(readings: str) -> float:
        j = judge(parse(HORN), readings, "off")
        p = {s.key: float(x) for s, x in zip(j.suspects, j.post.probability, strict=True)}
        return p["K7:missing"] / p["K7.coil:open"]

    pulled = SILENT + "with K7 out\nK7.86 in honk meter 12.6 V\nwithout conditions\n"
    assert missing(pulled) < 0.3 * missing(SILENT)
    assert suspects(HORN, pulled)["readings_used"] == 4


def _bypasses(readings: str) -> set[str]:
    got = next_tests(RADIO, readings, NextOptions(doubles="off"))
    tests = [t for v in got["visits"] for t in v["tests"] if t["action"] == "bypass"]
    return {t["phase"] for t in tests if "feed from F1.in to F1.out lamp 21 W" in t["line"]}


def test_a_lamp_in_the_fuses_place_is_offered_for_a_function_no_voltage_shows() -> None:
    """And key off as well as key on: a short before the key switch parted from one behind it."""
    dead = "plays in ignition-on does not work\nF1.out in ignition-on meter 0 V\nF1 in off looks blown\n"
    assert {"ignition-on", "after-run"} <= _bypasses(dead)
    key_on = "with F1 pulled, feed from F1.in to F1.out lamp 21 W\nF1.out in ignition-on meter 0.09 V\n"
    assert "after-run" in _bypasses(dead + key_on + "without conditions\n")


def test_a_practice_vehicle_shows_what_is_there_whatever_is_likeliest() -> None:
    circuit, words = parse(HORN), ["missing", "bad", "fine"]
    test = {
        "line": "K7 in off looks {value}",
        "instrument": "eye",
        "outcomes": [{"words": w, "low": None} for w in words],
    }
    for fault, seen in (("K7.coil open", "bad"), ("K7 missing", "missing"), ("F5 open", "fine")):
        vehicle = Vehicle(circuit, parse_fault(circuit, fault))
        assert vehicle.answer(test, "").strip() == f"K7 in off looks {seen}"


def test_nobody_listens_to_a_relay_beside_a_sleeping_vehicle() -> None:
    circuit = parse(HORN)
    phases = range(len(circuit.phases))
    heard = {t.phase for t in sensed(circuit, phases) if t.said is not None and t.said.kind == "clicks"}
    assert [circuit.phases[n].name for n in sorted(heard)] == ["ignition-on", "honk"]
