"""`amptrail draw`: the picture as a file, on standard output and as JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import inked
import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.cli.main import main

sys.path.append(str(Path(__file__).parents[1] / "cli"))
from schemas import validate

ROOT = Path(__file__).parents[2]
STARTER = ROOT / "demos" / "starter.sheet"


def _ask(*more: str) -> dict:  # type: ignore[type-arg]
    files = Files({"a.sheet": STARTER.read_text(encoding="utf-8")})
    return answer(["draw", "a.sheet", *more], files)


@pytest.mark.parametrize("demo", sorted((ROOT / "demos").glob("*.sheet")), ids=lambda p: p.stem)
def test_every_demo_is_as_the_schema_says(demo: Path) -> None:
    got = answer(["draw", "a.sheet"], Files({"a.sheet": demo.read_text(encoding="utf-8")}))
    validate(got)
    assert got["exit"] == 0
    tapped = {g.get("data-point") for g in ET.fromstring(got["svg"]).iter() if g.get("class") == "pt"}
    assert {p["point"] for p in got["points"]} == tapped


def test_readings_are_those_of_expect() -> None:
    files = Files({"a.sheet": STARTER.read_text(encoding="utf-8")})
    argv = ["expect", "a.sheet", "--phase", "cranking", "--nominal", "--with", "lamp"]
    want = answer(argv, files)["runs"][0]["phases"][0]["readings"]
    got = answer(["draw", "a.sheet", "--phase", "cranking", "--with", "lamp"], files)
    validate(got)
    words = {t.words for t in inked.read(got["svg"]).texts}
    seen = 0
    for r in want:
        if r["instrument"] == "lamp" and r["to"] == "BAT.-" and abs(r["value"] or 0.0) >= 0.1:
            assert f"{r['value']:.2f} V" in words, r["point"]
            seen += 1
    assert seen > 10


def test_a_trail_has_amps_and_fades_the_rest() -> None:
    got = _ask("--phase", "cranking", "--trail", "STA.30")
    validate(got)
    root = ET.fromstring(got["svg"])
    css = {g.get("data-part"): (g.get("class") or "").split() for g in root.iter() if g.get("data-part")}
    assert "on" in css["STA"] and "on" in css["W1"] and "off" in css["DASH"]
    assert any(c.get("class") == "bead" for c in root.iter())
    trail = answer(["trail", "a.sheet", "--at", "STA.30", "--phase", "cranking"],
                   Files({"a.sheet": STARTER.read_text(encoding="utf-8")}))  # fmt: skip
    assert trail["trails"], "the starter draws current"
    d = inked.read(got["svg"])
    assert inked.text_on_text(d) == [] and inked.text_on_line(d) == [] and inked.net_on_net(d) == []


def test_only_the_trail_is_a_narrow_drawing() -> None:
    whole = _ask("--phase", "cranking", "--trail", "STA.30")
    only = _ask("--phase", "cranking", "--trail", "STA.30", "--only")
    validate(only)
    assert only["metrics"]["width_px"] < whole["metrics"]["width_px"]
    sprayer = Files({"a.sheet": (ROOT / "demos" / "sprayer.sheet").read_text(encoding="utf-8")})
    pump = answer(["draw", "a.sheet", "--phase", "running", "--trail", "PUMP.in", "--only"], sprayer)
    assert pump["metrics"]["width_px"] <= 360
    parts = {g.get("data-part") for g in ET.fromstring(only["svg"]).iter() if g.get("data-part")}
    assert {"BAT", "CLAMP_P", "W1", "STA", "W11"} <= parts and "DASH" not in parts
    d = inked.read(only["svg"])
    assert inked.torn(d) == [] and inked.net_on_net(d) == [] and inked.text_on_text(d) == []
    assert "off" not in {c for g in d.root.iter() for c in (g.get("class") or "").split()}


def test_a_fault_and_a_feed_are_told() -> None:
    got = _ask("--fault", "T1", "--feed", "from F_START.out to STA.50 fuse 30 A wire 4 mm2 2 m")
    validate(got)
    assert got["faults"][0]["part"] == "CLAMP_N"
    words = " ".join(t.words for t in inked.read(got["svg"]).texts)
    assert "fault:" in words and "feed" in words
    assert 'class="sym fuse fed"' in got["svg"]


def _words(svg: str, part: str) -> list[str | None]:
    (group,) = (g for g in ET.fromstring(svg).iter() if g.get("data-part") == part)
    return [t.text for t in group.iter() if t.tag.endswith("text")]


def test_contacts_and_modules_are_as_the_phase_leaves_them() -> None:
    """Key at start, clutch down: the start relay pulls in (DIN 72552: 50 feeds 86). Key on: it rests."""
    cranking, on = (_ask("--phase", p)["svg"] for p in ("cranking", "ignition-on"))
    assert "pulled in" in _words(cranking, "K1") and "pulled in" in _words(cranking, "STA")
    assert "closed" in _words(cranking, "CLUTCH")
    assert "pulled in" not in _words(on, "K1") and "closed" not in _words(on, "CLUTCH")
    welded = _ask("--phase", "ignition-on", "--fault", "K1 stuck on")["svg"]
    strokes = [
        sum(1 for g in ET.fromstring(svg).iter() if g.get("data-part") == "K1" for p in g if "d" in p.attrib)
        for svg in (cranking, on, welded)
    ]
    assert strokes[0] == strokes[2] == strokes[1] + 1  # a closed contact has the stroke where it touches
    camper = (ROOT / "demos" / "camper.sheet").read_text(encoding="utf-8")
    got = answer(["draw", "a.sheet", "--phase", "running"], Files({"a.sheet": camper}))["svg"]
    assert "awake" in _words(got, "BCM")


def test_a_phase_that_cannot_come_about_is_told() -> None:
    got = _ask("--phase", "cranking", "--fault", "K1.coil open")
    validate(got)
    assert (got["exit"], got["status"]) == (0, "settled")
    assert [p["code"] for p in got["problems"]] == ["unreachable"]
    assert _ask("--phase", "cranking")["problems"] == [] and _ask()["status"] is None


def test_clamp_writes_amps_and_no_volts() -> None:
    words = [t.words for t in inked.read(_ask("--phase", "ignition-on", "--with", "clamp")["svg"]).texts]
    assert any(w.startswith(("▼", "▲")) and w.endswith("A") for w in words)
    assert not any(w.endswith(" mV") for w in words)


@pytest.mark.parametrize(
    ("more", "code"),
    [
        (("--with", "lamp"), "no-phase"),
        (("--trail", "STA.30"), "no-phase"),
        (("--only",), "no-trail"),
        (("--phase", "lunch"), "unknown-phase"),
        (("--phase", "cranking", "--with", "ohmmeter"), "no-drawing"),
    ],
)
def test_what_cannot_be_drawn_is_told(more: tuple[str, ...], code: str) -> None:
    got = _ask(*more)
    assert (got["exit"], got["problems"][0]["code"]) == (2, code)
    assert got["problems"][0]["remedy"]


def test_a_request_writes_no_file() -> None:
    got = _ask("--out", "x.svg")
    assert (got["exit"], got["out"]) == (0, None)
    assert not Path("x.svg").exists()


def test_out_writes_a_file_and_stdout_is_the_picture(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "a.svg"
    assert main(["draw", str(STARTER), "--out", str(target)]) == 0
    assert "px" in capsys.readouterr().out
    written = target.read_text(encoding="utf-8")
    ET.fromstring(written)
    assert main(["draw", str(STARTER)]) == 0
    assert capsys.readouterr().out == written
    assert main(["draw", str(STARTER), "--out", str(tmp_path / "no" / "a.svg"), "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["problems"][0]["code"] == "cannot-write"
