"""Times of a recording beside the sheet: relays lived through by ngspice with and without what quenches them
(tests/recording/spice_scope.py; FACTS section 3), what stays on after the key, before and after in words."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from signals import channel, levels, table
from spice_scope import live

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.exchange import spice
from amptrail.recording.channel import Recording
from amptrail.recording.compare import Difference, compared
from amptrail.recording.events import find_events
from amptrail.recording.shelf import seen_of
from amptrail.recording.turns import lags

if not spice.available() and not os.environ.get("CI"):
    pytest.skip("ngspice is not installed: no recording of its making (make ngspice)",
                allow_module_level=True)  # fmt: skip

SHEET = """vehicle "bench"
phase ignition-on 10 s
phase cranking 1 s
phase running 60 s
phase asleep 60 s
battery BAT 12.6 V 13 mohm
switch KEY closed in ignition-on, cranking, running
relay K4 coil 85 ohm pulls 8 V drops 3.5 V{suppressed}
resistor LOAD 2.4 ohm
path BAT.+ -- K4.86-85 -- KEY -- body
path BAT.+ -- K4.30-87 -- LOAD -- body
path BAT.- -- body
must on: LOAD 9 V or more in running
"""


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return {k: live(tmp_path_factory.mktemp(k), k, 20_000.0, 0.05).table for k in ("resistor", "diode")}


def ask(sheet: str, *paths: Path) -> dict[str, Any]:
    got = answer(["recording", *map(str, paths), "--sheet", "x.sheet"], Files({"x.sheet": sheet}))
    assert got["exit"] == 0, got["problems"]
    return got


def beside(got: dict[str, Any], kind: str) -> dict[str, Any]:
    (hit,) = [b for b in got["against"] if b["phase"] == kind]
    return dict(hit)


@pytest.mark.parametrize("kind", ["resistor", "diode"])
def test_a_release_time_is_held_against_what_the_sheet_says_quenches(
    tables: dict[str, Path], kind: str
) -> None:
    """A relay with what the sheet says agrees; one whose resistor is said and a diode is fitted does not."""
    same = ask(SHEET.format(suppressed=f" suppressed by {kind}"), tables[kind])
    assert beside(same, "drop_out")["agrees"], beside(same, "drop_out")
    assert beside(same, "pull_in")["agrees"], beside(same, "pull_in")
    other = "diode" if kind == "resistor" else "resistor"
    swapped = beside(ask(SHEET.format(suppressed=f" suppressed by {other}"), tables[kind]), "drop_out")
    assert not swapped["agrees"]
    assert "the sheet says" in swapped["words"] and f"a {other} across its winding" in swapped["words"]


def test_a_relay_that_answers_is_a_reading(tables: dict[str, Path]) -> None:
    """The line is one that `suspects` takes."""
    t = np.arange(12_000) / 2000
    key = levels(6, 2000, (1, 5, 12.3))
    low = np.where((t > 2) & (t < 4), 0.1, 12.3)
    contact = levels(6, 2000, (2.006, 4.004, 12.1))
    path = tables["diode"].parent / "click.csv"
    table(path, "time (s),KEY.15 (V),K4.85 (V),K4.87 (V)\n", [t, key, low, contact])
    sheet = SHEET.format(suppressed="")
    got = ask(sheet, path)
    assert "K4 in ignition-on clicks" in got["readings"]
    weighed = answer(["suspects", "x.sheet", "x.readings", "--doubles", "off"],
                     Files({"x.sheet": sheet, "x.readings": "K4 in ignition-on clicks\n"}))  # fmt: skip
    assert (weighed["exit"], weighed["readings_ignored"]) == (0, [])


def test_before_and_after_a_relay_was_exchanged(tables: dict[str, Path]) -> None:
    got = ask(SHEET.format(suppressed=" suppressed by resistor"), tables["diode"], tables["resistor"])
    words = [d["words"] for d in got["comparison"] if d["changed"]]
    assert any(w.startswith("K4 lets go after its winding: 8.") and "2." in w for w in words), words
    assert any("a diode across the winding" in w and "a resistor" in w for w in words)


def told(after: dict[str, np.ndarray], before: dict[str, np.ndarray], rate: float) -> list[Difference]:
    seen = []
    for rows in (before, after):
        channels = tuple(channel(n, "A" if n == "BAT" else "V", rate, y, 0.02, k) for k, (n, y) in
                         enumerate(rows.items()))  # fmt: skip
        seen.append(seen_of(Recording("r", "csv", channels), find_events(channels)))
    return list(compared(seen[0], seen[1]))


def drive(low: float, gone: tuple[float, ...], after_run: float, running: float) -> dict[str, np.ndarray]:
    rate = 1000.0
    contact = levels(40, rate, (1, 20 + after_run, 12.0))
    for g in gone:
        contact[round(g * rate) : round((g + 0.02) * rate)] = 0
    return {
        "BAT.+": levels(40, rate, (0, 3, 12.5), (3, 4, low), (4, 20, 14.1), (20, 40, 12.6)),
        "KEY.15": levels(40, rate, (1, 20, 12.3)),
        "K4.87": contact,
        "PUMP.in": levels(40, rate, (1, 20, running)),
    }


def test_what_a_repair_changed_in_words() -> None:
    got = told(drive(9.9, (), 2.0, 12.0), drive(7.2, (8.0, 11.0, 15.0), 9.0, 8.7), 1000.0)
    changed = {(d.channel, d.what): d for d in got if d.changed}
    assert changed["BAT.+", "lowest in cranking"].before == pytest.approx(7.2, abs=0.1)
    assert changed["BAT.+", "lowest in cranking"].after == pytest.approx(9.9, abs=0.1)
    assert (
        changed["K4.87", "dropout_start"].words == "K4.87 drops out for a moment: 3 times before, never after"
    )
    assert changed["K4.87", "still on after the key"].after == pytest.approx(2.0, abs=0.01)
    assert changed["PUMP.in", "in running"].words == "PUMP.in in running: 8.70 V before, 12.00 V after"
    same = {(d.channel, d.what) for d in got if d.changed is False}
    assert ("KEY.15", "in running") in same
    assert [d.changed for d in got] == sorted((d.changed for d in got), key=[True, False, None].index)


def test_what_only_one_of_them_shows_is_no_difference() -> None:
    before, after = drive(9.9, (), 2.0, 12.0), drive(9.9, (), 2.0, 12.0)
    del after["PUMP.in"]
    got = told(after, before, 1000.0)
    assert [d for d in got if d.changed] == []
    (gone,) = [d for d in got if d.channel == "PUMP.in"]
    assert gone.changed is None
    assert "after it is not shown" in gone.words


def test_the_same_recording_twice_is_as_before() -> None:
    got = told(drive(9.9, (8.0,), 2.0, 12.0), drive(9.9, (8.0,), 2.0, 12.0), 1000.0)
    assert {d.changed for d in got} == {False}


def test_after_run_and_sleep_of_every_key_off() -> None:
    rate = 200.0
    rows = {
        "KEY.15": levels(60, rate, (1, 10, 12.3), (30, 35, 12.3)),
        "K7.87": levels(60, rate, (1, 14, 12.1), (30, 39.5, 12.1)),
        "K8.87": levels(60, rate, (1, 10.004, 12.1), (30, 35.004, 12.1)),
        "BAT": levels(60, rate, (0, 1, 0.02), (1, 10, 8), (10, 18, 1.2), (18, 30, 0.02), (30, 35, 8),
                      (35, 47, 1.2), (47, 60, 0.02)),
    }  # fmt: skip
    channels = tuple(channel(n, "A" if n == "BAT" else "V", rate, y, 0.002) for n, y in rows.items())
    got = lags(channels, find_events(channels))
    seen = [(x.channel, x.what, x.t_s, x.seconds) for x in got]
    wanted = [("K7.87", "after-run", 10, 4), ("BAT", "sleep", 10, 8), ("K7.87", "after-run", 30 + 5, 4.5),
              ("BAT", "sleep", 35, 12)]  # fmt: skip
    assert [(c, w) for c, w, _, _ in seen] == [(c, w) for c, w, _, _ in wanted]
    for (_, _, off, late), (_, _, t, s) in zip(seen, wanted, strict=True):
        assert off == pytest.approx(t, abs=2 / rate)
        assert late == pytest.approx(s, abs=3 / rate)
