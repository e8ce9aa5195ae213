"""A recording beside its sheet: phases, levels, figures ticked, readings; made from the sheet's own drive
with noise, and
made wrong on purpose."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from signals import table

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.jobs.expect import ExpectOptions, expect
from amptrail.recording import Event
from amptrail.recording.against import Wanted, ticked
from amptrail.recording.phases import Feature, Span, spans

SHEET = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text()
POINTS = ("BAT.+", "PUMP.in", "PUMP.out", "K4.86", "KEY.15")
LIVED = (("asleep", 2.0), ("ignition-on", 3.0), ("cranking", 1.5), ("running", 6.0), ("asleep", 4.0))


def levels(fault: tuple[str, ...] = ()) -> dict[tuple[str, str], float]:
    got = expect(SHEET, ExpectOptions(at=POINTS, instruments=("meter",), fault=fault, cycles=2, nominal=True))
    return {(p["phase"], r["point"]): r["value"] for p in got["runs"][0]["phases"] for r in p["readings"]}


def recorded(path: Path, fault: tuple[str, ...] = (), rate: float = 500.0) -> Path:
    found = levels(fault)
    rng = np.random.default_rng(3)
    columns = []
    for p in POINTS:
        parts = [np.full(round(s * rate), found[phase, p]) for phase, s in LIVED]
        y = np.concatenate(parts)
        columns.append(y + 0.05 * rng.standard_normal(y.shape))
    t = np.arange(columns[0].shape[0]) / rate
    return table(path, "time (s)," + ",".join(f"{p} (V)" for p in POINTS) + "\n", [t, *columns])


def ask(path: Path, *more: str) -> dict[str, object]:
    return answer(["recording", str(path), "--sheet", "x.sheet", *more], Files({"x.sheet": SHEET}))


def test_a_drive_as_the_sheet_says_agrees(tmp_path: Path) -> None:
    got = ask(recorded(tmp_path / "good.csv"))
    assert [p["phase"] for p in got["phases"]] == [
        "asleep",
        "ignition-on",
        "cranking",
        "running",
        "after-run",
    ]
    assert len(got["against"]) >= 9
    assert all(b["agrees"] for b in got["against"]), [b["words"] for b in got["against"] if not b["agrees"]]
    runs = next(
        t for t in got["verification"] if t["words"].startswith("pump-runs: PUMP.in to PUMP.out 9 V or more")
    )
    assert runs["shown"] is True
    held = next(t for t in got["verification"] if t["words"].startswith("stop-held"))
    assert held["shown"] is None
    assert "no channel" in held["by"]


def test_a_drive_with_a_fault_parts_company_in_words(tmp_path: Path) -> None:
    got = ask(recorded(tmp_path / "bad.csv", ("X7.4 open",)))
    apart = [b for b in got["against"] if not b["agrees"]]
    assert {b["point"] for b in apart} == {"PUMP.in"}
    assert all("the sheet says" in b["words"] for b in apart)
    runs = next(
        t for t in got["verification"] if t["words"].startswith("pump-runs: PUMP.in to PUMP.out 9 V or more")
    )
    assert runs["shown"] is False


def test_features_are_readings(tmp_path: Path) -> None:
    """Lines that `suspects` takes, and that name the part the fault cut off."""
    got = ask(recorded(tmp_path / "bad.csv", ("X7.4 open",)))
    line = next(x for x in got["readings"] if x.startswith("PUMP.in in running scope"))
    assert abs(float(line.split()[4])) < 0.1, line
    text = "\n".join(got["readings"])
    weighed = answer(
        ["suspects", "x.sheet", "x.readings", "--doubles", "off"],
        Files({"x.sheet": SHEET, "x.readings": text}),
    )
    assert weighed["exit"] == 0
    assert weighed["readings_ignored"] == []
    told = [f["text"] for r in weighed["suspects"][:3] for f in r["faults"]] + [
        e for r in weighed["suspects"][:3] for e in r["equivalent"]
    ]
    assert any("X7.4" in x for x in told), told


def happened(*what: tuple[str, float]) -> list[Event]:
    return [Event(t, kind, "k", 0.99, t, t) for kind, t in what]


def test_phases_of_a_drive() -> None:
    got = spans(
        happened(("key_on", 1), ("crank_start", 3), ("crank_end", 4), ("key_off", 9), ("asleep", 20)), 0, 30
    )
    assert [(s.phase, s.begin_s) for s in got] == [
        ("asleep", 0), ("ignition-on", 1), ("cranking", 3), ("running", 4), ("after-run", 9), ("asleep", 20),
    ]  # fmt: skip


def test_phases_without_a_key_channel_and_with_a_channel_that_sleeps_early() -> None:
    got = spans(happened(("crank_start", 3), ("crank_end", 4), ("asleep", 6)), 0, 10)
    assert [s.phase for s in got] == ["ignition-on", "cranking", "running"]
    assert spans([], 0, 10) == ()


def test_nothing_recorded_is_never_a_pass() -> None:
    found = [Feature("a", "running", 12.0, 11.8, 12.1, 0.0, Span("running", 0, 5))]
    wanted = [
        Wanted("on", "P.in", ("running",), at_least=9.0),
        Wanted("off", "P.in", ("asleep",), at_most=1.0),
        Wanted("other", "Q.in", ("running",), at_least=9.0),
        Wanted("high", "P.in", ("running",), at_least=13.0),
        Wanted("one phase missing", "P.in", ("running", "ignition-on"), at_least=9.0),
        Wanted("bad, one phase missing", "P.in", ("running", "ignition-on"), at_least=13.0),
        Wanted("other end missing", "P.in", ("running",), at_least=9.0, lacks="no channel at P.out"),
        Wanted("too low at one end", "P.in", ("running",), at_least=13.0, lacks="no channel at P.out"),
    ]
    assert [t.shown for t in ticked(found, {"a": "P.in"}, wanted)] == [
        True, None, None, False, None, False, None, False,
    ]  # fmt: skip
    assert [t.shown for t in ticked([], {}, wanted)] == [None] * 8


def test_a_load_fed_backwards_is_not_off() -> None:
    found = [Feature("a", "asleep", -12.0, -12.1, -11.9, 0.0, Span("asleep", 0, 5))]
    wanted = [Wanted("off", "P.in", ("asleep",), at_most=1.0)]
    assert [t.shown for t in ticked(found, {"a": "P.in"}, wanted)] == [False]


@pytest.mark.parametrize("name", ["CH1=NOBODY.in", "CH9=PUMP.in", "CH1=PUMP.in x ten"])
def test_wrong_clips_are_told(tmp_path: Path, name: str) -> None:
    got = ask(table(tmp_path / "x.csv", "time,CH1\n", [np.arange(50) * 0.1, np.ones(50)]), "--channel", name)
    assert got["exit"] == 2
    assert got["problems"][0]["remedy"]
