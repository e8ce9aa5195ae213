"""A feed verified on a recording, key on to asleep.

The drive is lived by `cycle` in time, with the fault and the feed in it, and written as a scope would,
with noise. What the recording does not show is never a pass.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from signals import table

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.jobs.cycle import CycleOptions, cycle

SHEET = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text()
FAULT = ("X7.4 open",)
GOOD = "from K4.87 to PUMP.in fuse 10 A wire 1.5 mm2 3 m"
BAD = "from BAT.+ to PUMP.in fuse 10 A wire 1.5 mm2 3 m"
CHANNELS = {
    "BAT.+": "V",
    "KEY.15": "V",
    "PUMP.in": "V",
    "PUMP.out": "V",
    "STOP.in": "V",
    "STOP.out": "V",
    "BAT": "A",
}
RATE, END_S = 100.0, 450.0


@lru_cache
def lived(feed: str | None) -> dict[str, Any]:
    return cycle(SHEET, CycleOptions(feed=feed, fault=FAULT, order="time", at=tuple(CHANNELS)))


def recorded(
    path: Path, feed: str | None, left_out: tuple[str, ...] = (), end_s: float = END_S, late_s: float = 0.0
) -> Path:
    """Each instant's levels until the next one; `late_s`: everything after the key goes on so much longer."""
    instants = lived(feed)["timeline"]
    off = next(i["t_s"] for i in instants if i["phase"] == "after-run")
    begin = np.array([i["t_s"] + (late_s if i["t_s"] > off + 1 else 0) for i in instants])
    t = np.arange(round((end_s - 50) * RATE)) / RATE + 50
    at = np.searchsorted(begin, t, side="right") - 1
    rng = np.random.default_rng(5)
    names = [c for c in CHANNELS if c not in left_out]
    columns = [t]
    for c in names:
        unit = CHANNELS[c]
        level = np.array([i["amps" if unit == "A" else "volts"][c] for i in instants], float)
        columns.append(level[at] + (0.002 if unit == "A" else 0.05) * rng.standard_normal(t.shape))
    return table(path, "time (s)," + ",".join(f"{c} ({CHANNELS[c]})" for c in names) + "\n", columns)


def ticks(path: Path, feed: str | None) -> dict[str, tuple[bool | None, str]]:
    argv = ["recording", str(path), "--sheet", "x.sheet", *(("--feed", feed) if feed else ())]
    got = answer(argv, Files({"x.sheet": SHEET}))
    assert got["exit"] == 0, got["problems"]
    return {t["words"]: (t["shown"], t["by"]) for t in got["verification"]}


def one(found: dict[str, tuple[bool | None, str]], *words: str) -> tuple[bool | None, str]:
    (hit,) = [v for k, v in found.items() if all(w in k for w in words)]
    return hit


def test_a_feed_that_does_its_work_is_ticked_from_key_on_to_asleep(tmp_path: Path) -> None:
    got = ticks(recorded(tmp_path / "x.csv", GOOD), GOOD)
    for words in (
        ("pump-runs", "or more"), ("pump-runs", "or less"), ("stop-held", "or more"),
        ("stop-held", "or less"), ("draw asleep",), ("asleep in time",),
    ):  # fmt: skip
        assert one(got, *words)[0] is True, (words, one(got, *words))
    assert one(got, "ecm-awake") == (None, "not shown: a signal inside a module has no clip")


def test_the_fault_without_its_feed_is_no_pass(tmp_path: Path) -> None:
    got = ticks(recorded(tmp_path / "x.csv", None), GOOD)
    assert one(got, "pump-runs", "or more")[0] is False


def test_a_feed_that_never_goes_off_is_no_pass(tmp_path: Path) -> None:
    got = ticks(recorded(tmp_path / "x.csv", BAD), BAD)
    assert one(got, "pump-runs", "or more")[0] is True
    assert one(got, "pump-runs", "or less")[0] is not True
    assert one(got, "draw asleep")[0] is not True
    assert one(got, "asleep in time")[0] is not True
    # the same drive held against the good feed's sheet: it still draws when it should sleep
    late = ticks(recorded(tmp_path / "y.csv", BAD), GOOD)
    assert one(late, "asleep in time")[0] is False


def test_asleep_too_late_is_no_pass(tmp_path: Path) -> None:
    got = ticks(recorded(tmp_path / "x.csv", GOOD, late_s=20), GOOD)
    assert one(got, "asleep in time")[0] is False
    assert one(got, "draw asleep")[0] is True


@pytest.mark.parametrize(
    ("left_out", "words", "by"),
    [
        (("PUMP.in",), ("pump-runs", "or more"), "no channel at PUMP.in to PUMP.out"),
        (("PUMP.out",), ("pump-runs", "or more"), "no channel at PUMP.out"),
        (("BAT",), ("draw asleep",), "no clamp on the battery's cable"),
        (("BAT",), ("asleep in time",), "no clamp on the battery's cable"),
        (("KEY.15",), ("asleep in time",), "no channel shows the key"),
    ],
)
def test_what_was_not_recorded_is_never_a_pass(
    tmp_path: Path, left_out: tuple[str, ...], words: tuple[str, ...], by: str
) -> None:
    got = ticks(recorded(tmp_path / "x.csv", GOOD, left_out), GOOD)
    shown, why = one(got, *words)
    assert shown is None, why
    assert why.startswith("not shown") and by in why


def test_a_recording_that_stops_too_soon_shows_no_sleep(tmp_path: Path) -> None:
    got = ticks(recorded(tmp_path / "x.csv", GOOD, end_s=380), GOOD)
    assert one(got, "asleep in time")[0] is None
    assert "ends" in one(got, "asleep in time")[1]
