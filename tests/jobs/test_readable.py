"""Every instrument asked for is answered at every spot it can read, and only there."""

from __future__ import annotations

import pytest

from amptrail.jobs.expect import ExpectOptions, expect

SHEET = """
phase running 9 s
phase asleep 1 h
battery BAT 12.6 V
fuse F1 10 A 8 mohm
fuse F2 5 A
switch S closed in running
resistor R 6 ohm
resistor CRUSHED 1 mohm
connector X 2 mohm
sensor T 2 kohm
path BAT.+ -- F1 -- [W1: 1 mm2 2 m] -- X.1 -- S -- R -- BAT.-
path S.out -- T -- BAT.-
path S.out -- F2 -- CRUSHED -- BAT.-
ohms cold from T.in to T.out
"""


def _readings(phase: str = "running", **asked: tuple[str, ...]) -> dict[tuple[str, str], float]:
    got = expect(SHEET, ExpectOptions(phases=(phase,), nominal=True, **asked))
    rows = got["runs"][0]["phases"][0]["readings"]
    return {(r["point"], r["instrument"]): r["value"] for r in rows}


def test_the_millivolts_across_a_fuse_are_its_current_times_its_ohms() -> None:
    got = _readings(at=("F1",), instruments=("fuse-drop", "clamp"))
    assert got["F1", "fuse-drop"] == pytest.approx(0.008 * got["F1", "clamp"], rel=1e-6)


def test_without_a_place_every_fuse_has_its_millivolts_and_every_wire_its_amps() -> None:
    assert set(_readings(instruments=("fuse-drop",))) == {("F1", "fuse-drop"), ("F2", "fuse-drop")}
    amps = {p for p, i in _readings(instruments=("clamp",)) if i == "clamp"}
    assert {"F1", "F2", "W1"} <= amps and "R" not in amps


def test_a_cavity_has_volts_and_amps_its_side_volts_alone() -> None:
    got = _readings(at=("X.1", "X.1.b"), instruments=("meter", "clamp"))
    assert set(got) == {("X.1", "meter"), ("X.1", "clamp"), ("X.1.b", "meter")}


def test_with_the_battery_off_the_fuses_that_blew_are_named() -> None:
    got = expect(SHEET, ExpectOptions(phases=("off",), at=("cold",), instruments=("ohmmeter",)))
    (row,) = got["runs"][0]["phases"]
    assert row["state"]["fuses_open"] == ["F2"] and row["state"]["relays_energised"] == []
