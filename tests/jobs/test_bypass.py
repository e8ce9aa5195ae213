"""Bypasses as tests: proposed with the danger, their lines accepted, and belief moved as a person's would be.

Expected ways by hand from the demo sheets (common practice): a function that comes back with a bypass blames
what is bridged past; one that stays dead clears it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from amptrail.circuit.model import Circuit, Term
from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.errors import InputError
from amptrail.feed.danger import bridge, danger
from amptrail.jobs.judging import trials
from amptrail.jobs.judging.cautions import cautions_for
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.offers import asked
from amptrail.jobs.judging.panel import Candidate, live
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects
from amptrail.jobs.solved.feeds import find_feed
from amptrail.sheet import parse, parse_readings

DEMOS = Path(__file__).parents[2] / "demos"
PUMP_DEAD = "battery 12.5 V\nPUMP in ignition-on does not work\nPUMP.in in ignition-on meter 0 V\n"
NO_CRANK = "battery 12.5 V\ncranks in cranking does not work\n"
LAMP = "K4 out, feed from K4.30 to K4.87 lamp 21 W"
COIL = "feed from K4.85 to BAT.- fuse 5 A"
LOAD = "feed from BAT.+ to PUMP.in fuse 15 A"
BOOSTER = "feed from STA.31 to BAT.- wire 16 mm2 3 m"


def _text(demo: str) -> str:
    return (DEMOS / f"{demo}.sheet").read_text(encoding="utf-8")


@cache
def _offered(sheet: str, readings: str) -> tuple[Circuit, dict[str, Candidate]]:
    """Way of the bypass -> the trial."""
    circuit = parse(sheet)
    j = judge(circuit, readings, "off")
    return circuit, {t.how: t for t in trials.bypassed(j, live(j))}


@cache
def _mass(demo: str, readings: str) -> dict[str, float]:
    """Part -> probability of all that blames it."""
    got: Any = suspects(_text(demo), readings, SuspectOptions(doubles="off", top=200))
    out: dict[str, float] = {}
    for s in got["suspects"]:
        part = s["text"].split(" ")[0].split(".")[0]
        out[part] = out.get(part, 0.0) + s["probability"]
    return out


def _moved(demo: str, before: str, words: str, line: str) -> tuple[dict[str, float], dict[str, float]]:
    return _mass(demo, before), _mass(demo, f"{before}with {words}\n{line}\nwithout conditions\n")


@pytest.mark.parametrize(
    ("demo", "readings", "how", "words"),
    [
        ("sprayer", PUMP_DEAD, "lamp-bridge", LAMP),
        ("sprayer", PUMP_DEAD, "ground-coil", COIL),
        ("sprayer", PUMP_DEAD, "feed-load", LOAD),
        ("starter", NO_CRANK, "booster", BOOSTER),
    ],
)
def test_each_kind_is_proposed_in_words_the_readings_file_takes(
    demo: str, readings: str, how: str, words: str
) -> None:
    circuit, offered = _offered(_text(demo), readings)
    line = reading_line(circuit, offered[how])
    assert line.splitlines()[0] == f"with {words}"
    value = "11.9 V" if how == "lamp-bridge" else "works"
    (told,) = parse_readings(circuit, line.replace("{value}", value)).items
    assert told.conditions.feeds == (words.split("feed ")[1],)


def test_a_bypass_at_the_battery_has_the_battery_caution() -> None:
    circuit, offered = _offered(_text("starter"), NO_CRANK)
    plain = cautions_for(circuit, asked(circuit, circuit.musts[0], 1), ())
    told = cautions_for(circuit, offered["booster"], ())
    assert {c for c in told if c not in plain}, "clipping onto the post is told beforehand"


def test_next_tells_the_danger_of_a_lamp_before_it_is_fitted() -> None:
    """K4 clicks and the pump has nothing: the contact or what is before it. 21 W at 12 V is 1.75 A hot."""
    files = Files({"s": _text("sprayer"), "r": PUMP_DEAD + "K4 in ignition-on clicks\n"})
    tests = [t for v in answer(["next", "s", "r"], files)["visits"] for t in v["tests"]]
    (lamp,) = [t for t in tests if t["how"] == "lamp-bridge"]
    assert lamp["action"] == "bypass"
    assert "lamp" in lamp["why"]
    assert any("through the bypass" in c for c in lamp["cautions"])


def test_the_lamp_of_a_line_is_the_lamp_whose_danger_is_told() -> None:
    c = parse(_text("sprayer"))
    by_words = danger(c, find_feed(c, "from K4.30 to K4.87 lamp 21 W"), (), out=("K4",))
    assert by_words == danger(c, bridge(Term("K4", "30"), Term("K4", "87"), lamp_w=21.0), (), out=("K4",))
    assert 0.5 < by_words.worst_a < 2.0  # 1.75 A rated, the pump in series


def test_all_of_the_voltage_behind_a_lamp_blames_the_ground_and_none_what_is_before() -> None:
    """No current: the lamp drops nothing and 12.4 V stand before an open ground; a break before shows 0 V."""
    dead = "battery 12.5 V\nPUMP in ignition-on does not work\n"
    before, after = _moved("sprayer", dead, LAMP, "PUMP.in in ignition-on meter 12.4 V")
    assert after["G2"] > 2 * before["G2"]
    assert after.get("K4", 0.0) < 0.1 * before["K4"]
    before, after = _moved("sprayer", dead, LAMP, "PUMP.in in ignition-on meter 0 V")
    assert after["F9"] > 2 * before["F9"]
    assert after.get("G2", 0.0) < 0.1 * before["G2"]


def test_a_load_that_runs_when_fed_directly_is_sound_with_its_ground() -> None:
    dead = "battery 12.5 V\nPUMP in ignition-on does not work\n"
    before, after = _moved("sprayer", dead, LOAD, "PUMP in ignition-on works")
    assert after["K4"] > before["K4"]
    assert after.get("G2", 0.0) < 0.5 * before["G2"]
    before, after = _moved("sprayer", dead, LOAD, "PUMP in ignition-on does not work")
    assert after["G2"] > before["G2"]
    assert after.get("K4", 0.0) < 0.2 * before["K4"]


def test_a_coil_grounded_by_hand_parts_the_controller_from_the_relay() -> None:
    dead = "battery 12.5 V\nPUMP in ignition-on does not work\n"
    before, after = _moved("sprayer", dead, COIL, "PUMP in ignition-on works")
    assert after["ECM"] > 2 * before["ECM"]
    assert after.get("K4", 0.0) < 0.25 * before["K4"]  # one "works" in twenty is said of something else
    before, after = _moved("sprayer", dead, COIL, "PUMP in ignition-on does not work")
    assert after.get("ECM", 0.0) < 0.2 * before["ECM"]
    assert after["K4"] > before["K4"]


def test_a_booster_cable_that_helps_blames_the_ground_side() -> None:
    before, after = _moved("starter", NO_CRANK, BOOSTER, "cranks in cranking works")
    assert after["CLAMP_N"] > 2 * before["CLAMP_N"]
    assert after.get("K1", 0.0) < 0.3 * before["K1"]
    before, after = _moved("starter", NO_CRANK, BOOSTER, "cranks in cranking does not work")
    assert after.get("CLAMP_N", 0.0) < before["CLAMP_N"]
    assert after["K1"] >= before["K1"]


def test_nothing_is_bypassed_that_has_an_interlock_or_is_refused_or_marked() -> None:
    assert set(_offered(_text("starter"), NO_CRANK)[1]) == {"booster"}, "CLUTCH guards the cranking"
    assert _offered(_text("sprayer") + "refuse PUMP fuel\n", PUMP_DEAD)[1] == {}
    marked = _offered(_text("sprayer") + 'never probe ECM.mr "meter only"\n', PUMP_DEAD)[1]
    assert "ground-coil" not in marked
    assert "feed-load" in marked


@pytest.mark.parametrize("words", ["lamp", "lamp 21 A", "lamp 0 W"])
def test_a_lamp_without_watts_is_refused_in_words(words: str) -> None:
    with pytest.raises(InputError) as e:
        parse_readings(parse(_text("sprayer")), f"with feed from K4.30 to K4.87 {words}\n")
    assert e.value.problems[0].remedy or e.value.problems[0].expected
