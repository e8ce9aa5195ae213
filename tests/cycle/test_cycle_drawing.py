"""The command: one object, 80 columns, the same SVG twice, cautions, clear words for wrong input."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from sheets import PAIR, PARASITE, ring

from amptrail.circuit.phases import drive_cycle
from amptrail.cli.batch import answers
from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.cli.main import main
from amptrail.cycle import run_cycle, starts
from amptrail.cycle.axis import axis, clock
from amptrail.cycle.lanes import lanes
from amptrail.cycle.svg import svg
from amptrail.cycle.text import COLUMNS, drawing
from amptrail.sheet import parse
from amptrail.solve import assemble

ROOT = Path(__file__).parents[2]
DEMOS = sorted((ROOT / "demos").glob("*.sheet"))
TEXTS = {p.stem: p.read_text(encoding="utf-8") for p in DEMOS} | {
    "pair": PAIR, "parasite": PARASITE, "ring": ring(3),
}  # fmt: skip


def ask(text: str, *argv: str) -> dict[str, Any]:
    return answer(["cycle", "a.sheet", *argv], Files({"a.sheet": text}))


@pytest.mark.parametrize("name", sorted(TEXTS))
@pytest.mark.parametrize("order", ["settle", "time"])
def test_drawings_fit_and_are_the_same_twice(name: str, order: str) -> None:
    circuit = parse(TEXTS[name])
    net = assemble(circuit)
    for start in starts(circuit):
        got = run_cycle(net, (), start, 2, order)  # type: ignore[arg-type]
        text, picture = drawing(got), svg(got)
        assert max(len(line) for line in text.splitlines()) <= COLUMNS
        assert all(lane.name[:8] in text for lane in lanes(got).lanes)
        again = run_cycle(assemble(parse(TEXTS[name])), (), start, 2, order)  # type: ignore[arg-type]
        assert (text, picture) == (drawing(again), svg(again))
        root = ET.fromstring(picture)
        width = float(root.attrib["viewBox"].split()[2])
        for r in root.iter("{http://www.w3.org/2000/svg}rect"):
            if "x" in r.attrib:  # nothing sticks out to the side of a phone
                assert 0 <= float(r.attrib["x"]) <= float(r.attrib["x"]) + float(r.attrib["width"]) <= width


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_lanes_leave_no_gap_and_agree_with_the_instants(name: str) -> None:
    got = run_cycle(assemble(parse(TEXTS[name])), order="time")
    drawn = lanes(got)
    begin, end = got.instants[0].t_s, got.instants[-1].t_s
    for lane in drawn.lanes:
        assert lane.spans[0][0] == begin and lane.spans[-1][1] == end
        assert all(a[1] == b[0] and a[2] != b[2] for a, b in zip(lane.spans, lane.spans[1:], strict=False))
        if lane.kind == "module":
            for i in got.instants:
                if not i.ends and i.status == "settled":
                    later = [j for j in got.instants if j.t_s == i.t_s and not j.ends][-1]
                    assert lane.at(i.t_s) == int(lane.name in later.state.modules_awake)
    x = axis(drawn, 60, 60)
    assert list(x.at) == sorted(set(x.at)) and x.width <= 60
    assert {b.begin_s for b in drawn.bands} <= set(x.edges)


def test_times_in_words() -> None:
    assert [clock(t) for t in (0, 60.0054, 400, 401.5, 7200, 11_160)] == [
        "0 s", "60.005 s", "6 min 40 s", "6 min 41.5 s", "2 h", "3 h 6 min",
    ]  # fmt: skip


def test_phase_ends_are_those_of_expect() -> None:
    """The two commands tell the same volts and states where both tell them."""
    for name in ("sprayer", "camper", "starter"):
        files = Files({"a.sheet": TEXTS[name]})
        told = answer(["expect", "a.sheet", "--nominal", "--cycles", "2"], files)["runs"][0]["phases"]
        lived = [i for i in ask(TEXTS[name], "--cycles", "2")["timeline"] if i["ends"] and i["pass"] == 2]
        for phase, end in zip(told, lived, strict=True):
            assert all(phase[k] == end[k] for k in ("phase", "status", "state"))
            for r in phase["readings"]:
                if r["instrument"] == "meter" and r["point"] in end["volts"] and not r["disturbs"]:
                    assert r["value"] == pytest.approx(end["volts"][r["point"]], abs=0.05), r["point"]


def test_why_of_a_demo_that_never_sleeps() -> None:
    got = ask(TEXTS["camper"], "--fault", "T1", "--order", "time")
    assert got["exit"] == 0 and got["end"]["awake"] == ["BCM", "GW", "RAD"]
    chain = json.dumps(got["end"]["why"])
    assert "DOOR_S" in chain and "W10" in chain
    assert got["races"] == [] and got["self_holding"] == []


def test_a_feed_fitted_while_awake_and_a_fault() -> None:
    feed = "from F9.out to X7.4.a fuse 15 A wire 2.5 mm2 2 m"
    got = ask(TEXTS["sprayer"], "--feed", feed, "--start", "running", "--fault", "K4.87 open")
    assert got["exit"] == 0 and got["start"] == "awake:running"
    assert any(i["before"] for i in got["timeline"])
    after = [i for i in got["timeline"] if not i["before"]]
    assert after[-1]["volts"]["pump_across"] > 11  # and so it pumps on while the vehicle sleeps
    function = next(x for x in got["lanes"] if x["name"] == "pump-runs")
    assert function["spans"][-1]["value"] == "on"


def test_a_lamp_left_connected_wakes_and_warns() -> None:
    got = ask(TEXTS["camper"], "--leave", "lamp", "BCM.dr")
    assert got["left"] == [{"instrument": "lamp", "point": "BCM.dr"}]
    assert got["end"]["awake"] == ["BCM", "GW", "RAD"]
    assert any(p["severity"] == "warning" and "outputs" in p["message"] for p in got["problems"])
    assert ask(TEXTS["camper"], "--leave", "meter", "BCM.dr")["end"]["asleep"]


@pytest.mark.parametrize(
    ("argv", "code"),
    [
        (["--start", "runnning"], "bad-start"),
        (["--start", "awake:runnning"], "no-such-phase"),
        (["--start", "aborted-crank"], "bad-start"),
        (["--order", "quick"], "usage"),
        (["--cycles", "0"], "usage"),
        (["--leave", "ohmmeter", "F_IGN.out"], "not-left-connected"),
        (["--leave", "lamp", "NOWHERE.out"], None),
        (["--leave", "lampp", "F_IGN.out"], "instrument"),
        (["--leave", "lamp"], "usage"),
        (["--leave", "eye", "F_IGN.out"], "not-an-instrument"),
        (["--fault", "NOBODY open"], None),
        (["--at", "NOWHERE.1"], None),
    ],
)
def test_wrong_input_is_said_clearly(argv: list[str], code: str | None) -> None:
    got = ask(TEXTS["camper"], *argv)
    assert got["exit"] == 2 and got["problems"][0]["severity"] == "error"
    assert code is None or got["problems"][0]["code"] == code
    assert "Traceback" not in json.dumps(got)


def test_nothing_stays_connected_to_a_restraint_circuit() -> None:
    text = TEXTS["camper"] + "refuse STEP restraint\n"
    got = ask(text, "--leave", "meter", "STEP.in")
    assert (got["exit"], got["problems"][0]["code"]) == (2, "never-probe")


def test_batch_gives_the_same_object_and_writes_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    argv = ["cycle", "a.sheet", "--order", "time", "--svg", "out.svg"]
    request = json.dumps({"id": 1, "argv": argv, "files": {"a.sheet": TEXTS["sprayer"]}})
    got, again = answers([request, request])
    assert got == again and got["svg"].startswith("<svg")
    assert list(tmp_path.iterdir()) == []


def test_the_svg_file_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "a.sheet"
    sheet.write_text(TEXTS["starter"], encoding="utf-8")
    assert main(["cycle", str(sheet), "--svg", str(tmp_path / "a.svg")]) == 0
    assert "cranks" in capsys.readouterr().out
    assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg")
    assert main(["cycle", str(sheet), "--svg", str(tmp_path / "no" / "a.svg")]) == 2
    assert "cannot write" in capsys.readouterr().err


def test_every_phase_of_the_demos_is_drawn() -> None:
    for name in TEXTS:
        circuit = parse(TEXTS[name])
        text = drawing(run_cycle(assemble(circuit)))
        assert all(p.name in text for p in drive_cycle(circuit))


def test_a_crank_that_cannot_come_about_is_said() -> None:
    for order in ("settle", "time"):
        assert ask(TEXTS["starter"], "--order", order)["unreachable"] == []
        assert ask(TEXTS["starter"], "--order", order, "--fault", "W8 open")["unreachable"] == ["cranking"]


def test_what_must_hold_is_told_phase_by_phase() -> None:
    for name in DEMOS:
        told = ask(TEXTS[name.stem])["functions"]
        assert told and all(f["holds"] for f in told), name.stem
    bad = ask(TEXTS["sprayer"], "--fault", "G2 resistance 6 ohm")
    fails = [(f["name"], f["phase"]) for f in bad["functions"] if not f["holds"]]
    assert fails == [("pump-runs", "ignition-on"), ("pump-runs", "running")]
    assert "Does not hold: pump-runs in running:" in bad["text"]
    awake = ask(TEXTS["camper"], "--fault", "T1")["functions"]
    assert {f["name"] for f in awake if not f["holds"]} == {"bcm-sleeps", "rad-sleeps", "gw-sleeps"}
