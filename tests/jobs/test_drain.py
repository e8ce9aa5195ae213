"""A night drain: millivolts as amps by hand, who keeps whom awake, waits, hours; on the camper demo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from amptrail.errors import InputError
from amptrail.jobs.base.figures import until
from amptrail.jobs.night.drain import DrainOptions, drain
from amptrail.jobs.night.drainbox import Read, box, explained
from amptrail.jobs.night.drainwait import wait_min
from amptrail.reference.battery import charge_share, cold_share, hours_left
from amptrail.sheet import parse

DEMOS = Path(__file__).parents[2] / "demos"
SHEET = (DEMOS / "camper.sheet").read_text()
READINGS = (DEMOS / "camper.readings").read_text()


@pytest.fixture(scope="module")
def camper() -> dict[str, Any]:
    return drain(SHEET, READINGS, DrainOptions(battery_ah=74.0, celsius=0.0))


def test_millivolts_over_cold_ohms(camper: dict[str, Any]) -> None:
    # cold resistances of a standard blade fuse, mohm, from a component data sheet (ISO 8820-3 form; FACTS 2):
    # 7.5 A 10.91, 10 A 7.7, 15 A 4.8. Ohm's law by hand: 1.0/4.8, 2.3/7.7, 1.1/10.91, 0.0/7.7
    by_hand = {"F_BCM": 0.2083, "F_RAD": 0.2987, "F_GW": 0.1008, "F_ROOF": 0.0}
    rows = {r["fuse"]: r for r in camper["fuses"]}
    for name, amps in by_hand.items():
        assert rows[name]["read"]["amps"] == pytest.approx(amps, abs=1e-4)
        assert "datasheet" in rows[name]["ohm_source"]
    assert camper["sum_a"] == pytest.approx(0.6078, abs=1e-3)
    assert [n for n, r in rows.items() if r["verdict"] == "too much"] == ["F_BCM", "F_RAD", "F_GW"]
    # what the sheet says of them awake: 12.6 V over 60, 40 and 120 ohm
    for name, ohm in (("F_BCM", 60), ("F_RAD", 40), ("F_GW", 120)):
        assert rows[name]["awake_a"] == pytest.approx(12.6 / ohm, rel=1e-6)
    assert rows["F_IGN"]["awake_a"] == 0  # BCM hangs on it with an input only
    assert rows["F_BCM"]["above"] == "FL1"
    assert camper["unfused"] == ["ALT"]


def test_a_fuse_does_not_prove_twenty_milliamps(camper: dict[str, Any]) -> None:
    roof = next(r for r in camper["fuses"] if r["fuse"] == "F_ROOF")
    assert roof["read"]["high_a"] > 0.008  # 0.0 mV may be a last digit: 0.1 mV / 7.7 mohm = 13 mA


def test_the_clamp_says_what_no_fuse_explains() -> None:
    got = drain(SHEET, READINGS + "BAT in asleep clamp 850 mA\n")
    assert got["whole"]["amps"] == pytest.approx(0.85)
    assert got["unexplained_a"] == pytest.approx(0.85 - 0.6078, abs=1e-3)
    assert (got["flows_source"], got["too_much"], got["exit"]) == ("clamp", True, 1)
    assert all(t["what"] == "pull" or t["fuse"] for t in got["tests"])  # the clamp is not asked for again


def test_each_current_is_counted_once() -> None:
    circuit = parse(SHEET)
    rows = box(circuit, ())
    assert explained(rows)[3] == ("F_BCM", "F_RAD", "F_GW", "F_ROOF", "F_IGN")

    def read(name: str, amps: float) -> list[Any]:
        return [replace(r, read=Read(amps, amps, amps, 1)) if r.part.name == name else r for r in rows]

    one = read("F_RAD", 0.3)
    assert explained(one)[0] == pytest.approx(0.3)
    both = [replace(r, read=Read(0.5, 0.5, 0.5, 2)) if r.part.name == "FL1" else r for r in one]
    assert explained(both) == (0.5, 0.5, 0.5, ())  # what the link carries holds the others already


def test_who_keeps_whom_awake(camper: dict[str, Any]) -> None:
    assert camper["cases"][0]["text"] == "nothing is broken" and camper["cases"][0]["awake"] == []
    assert camper["expected_a"] == pytest.approx(12.6 / 3000 + 12.6 / 4000 + 12.6 / 6000, rel=0.01)
    held = [c for c in camper["cases"][1:] if c["awake"]]
    assert held
    for c in held:
        by = {k["module"]: k["by"] for k in c["keepers"]}
        assert by["RAD"] == ["BCM"] and by["GW"] == ["BCM"]
    door = next(c for c in held if c["text"] == "DOOR_S stuck on")
    assert any("DOOR_S" in line for k in door["keepers"] for line in k["because"])


def test_what_wakes_comes_last_and_the_keeper_before_the_largest(camper: dict[str, Any]) -> None:
    tests = camper["tests"]
    wakes = [bool(t["restarts"]) for t in tests]
    assert wakes == sorted(wakes)
    pulls = [t["fuse"] for t in tests if t["what"] == "pull"]
    assert pulls == ["F_BCM", "F_RAD", "F_GW"]  # RAD carries most, and is only kept awake
    first = next(t for t in tests if t["fuse"] == "F_BCM")
    # the longest hold of the sheet is 120 s; with the fuse out the radio and the gateway sleep: by hand
    # 12.6 V / 4 kohm + 12.6 V / 6 kohm = 5.25 mA
    assert (first["restarts"], first["wait_min"]) == (["BCM"], 2.0)
    assert all(x["amps"] == pytest.approx(0.00525, abs=2e-4) for x in first["left"])
    radio = next(t for t in tests if t["fuse"] == "F_RAD")
    assert radio["wait_min"] == 2.0  # it sleeps when BCM does
    assert all(x["amps"] > 0.3 for x in radio["left"])
    assert any("wait again" in c for c in first["cautions"])


def test_a_wait_nobody_stated_is_common_practice() -> None:
    circuit = parse((DEMOS / "sensors.sheet").read_text())
    bare = replace(circuit, modules=tuple(m for m in circuit.modules if getattr(m, "name", "") != "awake"))
    minutes, source = wait_min(bare, ["ECM"])
    assert minutes == 20.0 and "common practice" in source


def test_hours_by_hand(camper: dict[str, Any]) -> None:
    # 12.40 V between 12.24 V (50 %) and 12.45 V (75 %); at 0 C a lead battery gives 80 %; half may go
    share = float(np.interp(12.4, [11.9, 12.06, 12.24, 12.45, 12.65], [0, 0.25, 0.5, 0.75, 1]))
    hours = (share - 0.5) * 74.0 * 0.8 / camper["flows_a"]
    f = camper["flat"]
    assert f["hours"] == pytest.approx(hours)
    assert f["hours_low"] < f["hours"] < f["hours_high"]
    assert f["charge_source"] and f["cold_source"] and f["battery_ah_source"] == "as said"
    assert charge_share(24.8) == pytest.approx(charge_share(12.4))  # two in series
    assert [charge_share(v) for v in (5.0, 14.0)] == [0, 1]
    assert cold_share(-9.0) == pytest.approx(0.7)
    assert hours_left(0.1, 60.0, 0.45, 20.0) == 0  # it may not start now


def test_bad_input_is_said() -> None:
    with pytest.raises(InputError, match="--celsius 300"):
        drain(SHEET, READINGS, DrainOptions(celsius=300.0))
    never = "\n".join(x for x in SHEET.splitlines() if not x.startswith("phase asleep"))
    with pytest.raises(InputError, match=r"no phase|asleep"):
        drain(never.replace("in asleep", "in running"), "")


def test_a_battery_that_nothing_drains_is_promised_no_years() -> None:
    assert until((250_000.0, 252_000.0)).startswith("several months")
    assert until((30.0, 44.0)) == "30 to 44 hours"
