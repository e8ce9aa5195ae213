"""Demo circuits lived through by ngspice, recorded with noise, and read: the model does not grade itself.

Instants: the story's own, and where ngspice's own table (without noise) goes through the half of a step.
Levels: what the sheet predicts for each phase beside what ngspice came to.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from lived_scope import Lived, live, recorded, sheet

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.exchange import convert, spice

if not spice.available() and not os.environ.get("CI"):
    pytest.skip("ngspice is not installed: no recording of its making (make ngspice)",
                allow_module_level=True)  # fmt: skip

STORIES: dict[str, tuple[tuple[tuple[str, float], ...], tuple[str, ...], float]] = {
    "starter": (
        (("asleep", 1.5), ("ignition-on", 1.5), ("cranking", 1.2), ("running", 2.0), ("asleep", 2.0)),
        ("BAT.+", "KEY.15", "K1.86", "K1.87", "STA.M", "BAT"), 0.0005,
    ),
    "blower": (
        (("asleep", 1.5), ("ignition-on", 1.0), ("running", 2.0), ("asleep", 2.0)),
        ("BAT.+", "KEY.15", "K7.86", "K7.87", "BLOWER.in", "BAT"), 0.0005,
    ),
    "sprayer": (
        (("asleep", 2.0), ("ignition-on", 2.0), ("cranking", 1.0), ("running", 3.0), ("after-run", 22.0)),
        ("BAT.+", "KEY.15", "K4.85", "K4.87", "PUMP.in", "BAT"), 0.001,
    ),
}  # fmt: skip


def story(name: str) -> Lived:
    legs, points, step = STORIES[name]
    return live(name, legs, points, step)


def ask(path: Path, name: str, *more: str) -> dict[str, Any]:
    got = answer(["recording", str(path), "--sheet", "x.sheet", *more], Files({"x.sheet": sheet(name)}))
    assert got["exit"] == 0, got["problems"]
    return got


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("lived")
    return {n: ask(recorded(folder / f"{n}.csv", story(n)), n) for n in STORIES}


def events(got: dict[str, Any], channel: str) -> list[tuple[str, float]]:
    return [(e["kind"], e["t_s"]) for e in got["events"] if e["channel"] == channel]


@pytest.mark.parametrize("name", list(STORIES))
def test_the_key_is_found_where_it_was_turned(told: dict[str, dict[str, Any]], name: str) -> None:
    lived, got = story(name), told[name]
    keyed = dict(events(got, "KEY.15"))
    on = lived.crossing("KEY.15", 6.0, 0.0, up=True)
    off = lived.crossing("KEY.15", 6.0, on + 1, up=False)
    step = STORIES[name][2]
    assert on == pytest.approx(lived.begins["ignition-on"], abs=2 * step)
    assert sorted(keyed) == ["key_off", "key_on"]
    assert keyed["key_on"] == pytest.approx(on, abs=1.01 * step)
    assert keyed["key_off"] == pytest.approx(off, abs=1.01 * step)


@pytest.mark.parametrize(
    ("name", "contact"), [("starter", "K1.87"), ("blower", "K7.87"), ("sprayer", "K4.87")]
)
def test_the_relay_is_found_where_its_contact_moved(
    told: dict[str, dict[str, Any]], name: str, contact: str
) -> None:
    lived, got = story(name), told[name]
    step = STORIES[name][2]
    moved = events(got, contact)
    # the starter's windings kick when they are let go: the contact sees their spike
    assert [k for k, _ in moved if k != "bounce"] == ["pull_in", "drop_out"]
    high = lived.at(contact, moved[0][1] + 0.3)
    assert moved[0][1] == pytest.approx(lived.crossing(contact, high / 2, 0.0, up=True), abs=1.01 * step)
    if name == "blower":
        # nothing is left on the contact: the wire's own charge goes through the probe, and slowly
        assert moved[1][1] == pytest.approx(lived.crossing("KEY.15", 6.0, 3.0, up=False), abs=0.1)
        return
    after = moved[0][1] + 0.2
    assert moved[1][1] == pytest.approx(lived.crossing(contact, high / 2, after, up=False), abs=1.5 * step)


def test_the_start_is_found_with_its_sag(told: dict[str, dict[str, Any]]) -> None:
    """ngspice: a starter on a battery with inner resistance; begin and end where its volts fall and rise."""
    for name in ("starter", "sprayer"):
        lived, got = story(name), told[name]
        found = dict(events(got, "BAT.+"))
        step = STORIES[name][2]
        before, during = (
            lived.at("BAT.+", lived.begins["cranking"] - 0.1),
            lived.at("BAT.+", lived.begins["running"] - 0.1),
        )
        half = (before + during) / 2
        fell = lived.crossing("BAT.+", half, lived.begins["cranking"] - 0.05, up=False)
        rose = lived.crossing("BAT.+", half, fell, up=True)
        # the starter's solenoid takes its pull-in current some ms before its contact makes
        assert found["crank_start"] == pytest.approx(fell, abs=0.05)
        assert found["crank_end"] == pytest.approx(rose, abs=0.02 + step)
        one = got["measures"]["BAT.+"]["cranks"][0]
        assert one["mean"] == pytest.approx(during, abs=0.05)


@pytest.mark.parametrize("name", list(STORIES))
def test_the_drive_the_sheet_predicts_is_the_one_ngspice_lived(
    told: dict[str, dict[str, Any]], name: str
) -> None:
    beside = told[name]["against"]
    assert len(beside) >= 12
    assert [b["words"] for b in beside if not b["agrees"]] == []
    assert {b["phase"] for b in beside} >= {"asleep", "ignition-on", "running"}


GOOD = "from K4.87 to PUMP.in fuse 10 A wire 1.5 mm2 3 m"
BAD = "from BAT.+ to PUMP.in fuse 10 A wire 1.5 mm2 3 m"
DRIVE = STORIES["sprayer"][0]
VERIFIED = ("BAT.+", "KEY.15", "PUMP.in", "PUMP.out", "STOP.in", "STOP.out", "BAT")


def ticks(
    path: Path, feed: str, left_out: str = "", fitted: bool = True
) -> dict[str, tuple[bool | None, str]]:
    lived = live("sprayer", DRIVE, VERIFIED, 0.002, "X7.4 open", feed if fitted else "")
    got = ask(recorded(path, lived, left_out=left_out), "sprayer", "--feed", feed)
    return {t["words"]: (t["shown"], t["by"]) for t in got["verification"]}


def test_a_feed_is_verified_from_key_on_to_asleep(tmp_path: Path) -> None:
    """Fault and feed in the deck; the control unit holds itself awake 15 s on a capacitor of ngspice's."""
    got = ticks(tmp_path / "x.csv", GOOD)
    shown = {w: s for w, (s, _) in got.items()}
    assert shown.pop("ecm-awake: ECM awake") is None  # a signal inside a module has no clip
    assert set(shown.values()) == {True}, got
    assert any(w.startswith("asleep in time") for w in shown)
    quiet = next(by for w, (_, by) in got.items() if w.startswith("asleep in time"))
    assert float(quiet.split()[1]) == pytest.approx(15.0, abs=0.2)


def test_without_its_feed_and_with_a_bad_one_it_is_no_pass(tmp_path: Path) -> None:
    got = ticks(tmp_path / "x.csv", GOOD, fitted=False)
    assert [s for w, (s, _) in got.items() if "pump-runs" in w and "or more" in w] == [False]
    bad = ticks(tmp_path / "y.csv", BAD)
    assert [s for w, (s, _) in bad.items() if "pump-runs" in w and "or less" in w] == [False]
    assert not any(s for w, (s, _) in bad.items() if w.startswith(("draw asleep", "asleep in time")))


def test_a_channel_left_out_is_not_shown(tmp_path: Path) -> None:
    got = ticks(tmp_path / "x.csv", GOOD, left_out="BAT")
    assert [s for w, (s, _) in got.items() if w.startswith(("draw asleep", "asleep in time"))] == [None, None]


def test_the_exported_deck_names_its_channels_and_runs() -> None:
    text = convert(sheet("starter"), "transient")
    names = [x.split(" = ")[1] for x in text.splitlines() if x.startswith("* ch")]
    assert names[:2] == ["BAT.+", "BAT"]
    assert {"K1.86", "K1.85", "K1.87", "posts", "fifty"} <= set(names)
    got = spice.lived(text)
    assert got.shape[1] == 1 + len(names)
    assert got[-1, 1] == pytest.approx(12.6, abs=0.05)  # at rest again, charged neither way
