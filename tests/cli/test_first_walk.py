"""What somebody met who walked from the README to a repaired job (design/0009-a-stranger.md)."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.cli.main import main
from amptrail.cli.render import MOST_PROBLEMS, problems, show

ROOT = Path(__file__).parents[2]
SHEET = str(ROOT / "design" / "0009-a-stranger.sheet")
READINGS = str(ROOT / "design" / "0009-a-stranger.readings")
Capture = pytest.CaptureFixture[str]


def test_the_plug_leads_after_the_readings_of_the_walk(capsys: Capture) -> None:
    assert main(["suspects", SHEET, READINGS, "--top", "3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    head = next(n for n, x in enumerate(lines) if x.startswith("still fits"))
    assert lines[head + 1].startswith("X2.4 resistance") and "almost certain" in lines[head + 1]
    assert lines[0].endswith("is under a fitted relay") and "reach KP.30 bolt" in " ".join(lines[1:head])


def test_the_senses_have_no_other_lead(capsys: Capture, tmp_path: Path) -> None:
    told = tmp_path / "told.readings"
    told.write_text("lifts in lifting does not work\nlowers in lowering works\n")
    assert main(["next", SHEET, str(told), "--at", "power-pack"]) == 0
    lines = [x for x in capsys.readouterr().out.splitlines() if x.startswith(("  hand at", "  eye at"))]
    assert lines
    assert not [x for x in lines if "other lead" in x]


def test_a_feed_to_the_body_says_body_on_its_label(capsys: Capture) -> None:
    feed = "from TH.out to body fuse 5 A wire 1.5 mm2 2 m"
    main(["feed", SHEET, "--feed", feed, "--against", "X2.4 resistance 60 ohm", "--for", "home", "--nominal"])
    got = capsys.readouterr().out
    assert "2 m > body" in got
    assert "TEMPORARY FEED: ONE DRIVE HOME ONLY" in got
    assert "any, start any" not in got


def test_facts_of_a_job_stand_apart_by_a_semicolon_however_it_is_spaced(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    main(["job", "new", "lift", SHEET])
    assert main(["job", "set", "lift", "by=A. Sample; rate=90;currency=EUR ;"]) == 0
    capsys.readouterr()
    main(["findings", "lift"])
    assert "A. Sample\n" in capsys.readouterr().out
    assert main(["job", "set", "lift", "by=A. Sample; rte=90"]) == 2
    capsys.readouterr()
    main(["slip", "lift"])
    assert "No temporary feed has been judged." in capsys.readouterr().out


def test_a_thousand_problems_do_not_scroll_by() -> None:
    row = {"code": "x", "message": "m", "line": 1, "column": 1, "severity": "error",
           "expected": [], "nearest": None, "remedy": ""}  # fmt: skip
    text = problems({"problems": [row] * 1000})
    assert text.count("error:") == MOST_PROBLEMS
    assert "and 980 more" in text


def _test(point: str, *outcomes: tuple[str, float | None, float, str]) -> dict[str, object]:
    rows = [{"words": w, "low": low, "high": low, "probability": p,
             "leaves": [{"text": left, "probability": 1.0}]} for w, low, p, left in outcomes]  # fmt: skip
    return {"instrument": "meter", "point": point, "to": None, "with": [], "action": "read", "cautions": [],
            "line": f"{point} in run meter {{value}}", "outcomes": rows, "while": None,
            "watch": None}  # fmt: skip


def test_samples_of_a_range_are_one_range_and_a_test_with_one_end_is_left_out(capsys: Capture) -> None:
    ranged = _test("A.in", ("about 23.0 V", 23.0, 0.3, "R"), ("0.00 V to 0.08 V", 0.0, 0.5, "O"),
                   ("about 11.3 V", 11.3, 0.2, "R"))  # fmt: skip
    void = _test("B.in", ("24.9 V to 25.1 V", 24.9, 0.99, "R"), ("about 0 V", 0.0, 0.01, "O"))
    visit = {"place": "p", "phase": "run", "minutes_min": 3.0}
    visits = [{**visit, "rank": 1, "tests": [ranged, void]}, {**visit, "rank": 2, "tests": [void]}]
    show({"command": "next", "problems": [], "stop": {"is": False}, "visits": visits, "tells_drawings": None,
          "expected_min": 1.0, "p80_min": 1.0})  # fmt: skip
    got = capsys.readouterr().out
    assert "11.3 V to 23.0 V → R" in got and "about" not in got.split("To a proven")[0].split("min\n")[1]
    assert "A.in" in got and "B.in" not in got and "\n2. " not in got


def test_a_lamp_is_told_as_an_eye_sees_it(capsys: Capture) -> None:
    ask = ["--nominal", "--with", "lamp", "--phase", "lifting", "--at", "KP.86", "--at", "X2.4.b"]
    assert main(["expect", SHEET, *ask, "--fault", "X2.4 open"]) == 0
    rows = {x.split()[0]: x for x in capsys.readouterr().out.splitlines() if " lamp " in x}
    assert "V bright" in rows["KP.86"]  # the feed is whole
    assert "V dark" in rows["X2.4.b"]  # grounded, and nothing comes


def test_a_reading_added_to_a_job_is_answered_in_a_line_with_its_own_warning(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    main(["job", "new", "lift", SHEET])
    main(["job", "add", "lift", "KP.86 in lifting meter 24.9 V", "--id", "a"])
    capsys.readouterr()
    assert main(["job", "add", "lift", "battery 25.1 V", "--id", "b"]) == 0
    assert capsys.readouterr().out == "added b: battery 25.1 V\n"
    main(["job", "add", "lift", "battery 25.1 V", "--id", "b"])
    assert capsys.readouterr().out == "b is there already: battery 25.1 V\n"
    main(["job", "add", "lift", "KP.85 in lifting meter 15.1 V"])
    got = capsys.readouterr().out
    assert "KP.85 is under a fitted relay" in got and "KP.86" not in got
