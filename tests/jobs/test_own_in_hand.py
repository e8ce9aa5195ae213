"""Own instruments wherever a reading is predicted: `expect`, `next`, proofs, the drawing, the pages."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from amptrail.cli.main import main
from amptrail.jobs.cycle import CycleOptions, cycle
from amptrail.jobs.drawing import DrawOptions, drawing
from amptrail.jobs.expect import ExpectOptions, expect
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.proofsheet import condemn
from amptrail.jobs.judging.suspects import SuspectOptions, suspects
from amptrail.jobs.log.cases import case, run
from amptrail.jobs.night.drain import DrainOptions, drain
from amptrail.jobs.solved.observe import observations
from amptrail.jobs.solved.own import STANDARD, Own, in_hand, said
from amptrail.sheet import parse
from amptrail.sheet.readers import reader_of, signed
from amptrail.web import create_app

# behind 20 ohm a lamp of 5 W drops some volts, one that draws more drops more
SHEET = """
place tail 5 min
place front 2 min
phase on as ignition-on 10 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm
fuse F1 10 A at front
resistor R 20 ohm at front
lamp A 12 V 5 W at tail
ground G1 at tail
path BAT.+ -- F1 -- R -- A -- G1
path BAT.- -- body
must lit: A.in to A.out 4 V or more in on
"""
CIRCUIT = parse(SHEET)
THIRSTY = Own((("lamp", "draws 1.75 A"),))  # as one of 21 W
HIGH = Own((("meter", "offset 0.5 V"), ("clamp", "offset 30 mA accuracy 2 %")))


def row(own: Own, at: str, instrument: str) -> dict[str, Any]:
    got = expect(SHEET, ExpectOptions(phases=("on",), at=(at,), instruments=(instrument,), own=own))
    return dict(got["runs"][0]["phases"][0]["readings"][0])


def test_expect_is_for_the_lamp_in_hand() -> None:
    """As an ordinary lamp of those watts would show it, and under the name that was asked for."""
    own, same, usual = (
        row(THIRSTY, "A.in", "lamp"), row(STANDARD, "A.in", "lamp 21 W"), row(STANDARD, "A.in", "lamp"),
    )  # fmt: skip
    assert own["instrument"] == "lamp"
    assert own["value"] == pytest.approx(same["value"], abs=1e-9)
    assert own["value"] < usual["value"] - 1.0


def test_expect_has_the_offset_and_the_error_of_the_own_meter_and_clamp() -> None:
    own, usual = row(HIGH, "A.in", "meter"), row(STANDARD, "A.in", "meter")
    assert own["value"] == pytest.approx(usual["value"] + 0.5, abs=1e-9)
    for end in ("low", "high"):  # nothing was said of its error
        assert own[end] - own["value"] == pytest.approx(usual[end] - usual["value"], abs=1e-9)
    vague = row(Own((("meter", "accuracy 10 %"),)), "A.in", "meter")
    assert vague["value"] == usual["value"]
    # two sigma are 10 % of the reading: 5 to 95 % reach 1.645 / 2 x 10 % at least
    assert vague["high"] - vague["value"] > 0.8 * 0.1 * usual["value"]
    amps, plain = row(HIGH, "F1", "clamp"), row(STANDARD, "F1", "clamp")
    assert amps["value"] == pytest.approx(plain["value"] + 0.03, abs=1e-9)


def test_on_the_terminal_a_lamp_of_more_volts_only_glows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    Path("a.sheet").write_text(SHEET)
    for own, word in (("12 V 5 W", "bright"), ("24 V 5 W", "dim")):
        assert main(["job", "new", word, "a.sheet"]) == 0
        assert main(["job", "add", word, f'my lamp "{own}"']) == 0
        capsys.readouterr()
        assert main(["expect", word, "--phase", "on", "--at", "BAT.+", "--with", "lamp"]) == 0
        shown = capsys.readouterr().out
        assert f"for your own lamp: {own}" in shown
        assert f" V {word} " in " ".join(shown.split())


def test_nominal_bands_stay_closed() -> None:
    got = expect(SHEET, ExpectOptions(("on",), ("A.in",), ("meter",), nominal=True, own=HIGH))
    r = got["runs"][0]["phases"][0]["readings"][0]
    assert r["low"] == r["value"] == r["high"]


def _tests(readings: str, own: Own = STANDARD) -> dict[str, dict[str, Any]]:
    got = next_tests(SHEET, readings, NextOptions(own=own, doubles="off"))
    return {t["line"]: t for v in got["visits"] for t in v["tests"]}


DEAD = "lit in on does not work\nF1 in off looks fine\n"


def test_next_predicts_what_the_own_meter_will_show() -> None:
    """What `next` says will be read, entered as it is said, is what it says that it leaves."""
    line, usual = "R.out in on meter {value}", _tests(DEAD)
    mine = 'my meter "offset 0.5 V"\n'
    own = _tests(mine + DEAD)
    assert line in usual
    assert own[line]["own"] == "offset 0.5 V"
    assert usual[line]["own"] is None
    top, plain = (max(o["high"] for o in x[line]["outcomes"]) for x in (own, usual))
    assert top == pytest.approx(plain + 0.5, abs=0.01)
    seen = max(own[line]["outcomes"], key=lambda o: o["high"])
    told = suspects(SHEET, mine + DEAD + line.format(value=f"{seen['high']:.3f} V") + "\n", SuspectOptions())
    left = {x["text"].split(" resistance")[0] for x in seen["leaves"]}
    assert told["suspects"][0]["text"].split(" resistance")[0] in left
    assert _tests(DEAD, Own((("meter", "offset 0.5 V"),)))[line]["outcomes"] == own[line]["outcomes"]


def test_a_vague_meter_tells_fewer_outcomes_apart() -> None:
    line = "R.out in on meter {value}"
    fine, vague = _tests(DEAD), _tests('my meter "accuracy 30 %"\n' + DEAD)
    assert len(vague.get(line, {"outcomes": ()})["outcomes"]) < len(fine[line]["outcomes"])


def test_a_lamp_of_more_volts_is_dim_where_the_usual_one_is_bright() -> None:
    """At the battery a lamp of 24 V glows and one of 12 V burns."""
    for volts, word in (("12 V 5 W", "bright"), ("24 V 5 W", "dim")):
        mine = f'my lamp "{volts}"\nBAT.+ in on lamp {word}\n'
        other = f'my lamp "{volts}"\nBAT.+ in on lamp {"dim" if word == "bright" else "bright"}\n'
        fits, not_so = (suspects(SHEET, x, SuspectOptions(doubles="off")) for x in (mine, other))
        assert fits["evidence_nats"] > not_so["evidence_nats"] + 1.0, volts


def test_a_proof_names_figures_of_the_instrument_in_hand() -> None:
    def good(text: str) -> set[str]:
        got = condemn(SHEET, text, "A")
        return {t["good"] for x in got["lines"] for t in x["tests"] if t["instrument"] == "meter"}

    usual, own = good(DEAD), good('my meter "offset 0.5 V"\n' + DEAD)
    assert usual
    assert own
    assert usual != own


def test_the_drawing_and_the_cycle_have_it_too() -> None:
    usual, own = (
        drawing(SHEET, DrawOptions("on", own=o))["svg"] for o in (STANDARD, Own((("meter", "offset 3 V"),)))
    )
    assert "15.6" in own  # 12.6 V at the battery
    assert "15.6" not in usual

    def volts(o: CycleOptions) -> list[float]:
        return [p["volts"]["A.in"] for p in cycle(SHEET, o)["timeline"]]

    leave = (("lamp", "A.in"),)
    mine = volts(CycleOptions(leave=leave, at=("A.in",), own=THIRSTY))
    assert mine == volts(CycleOptions(leave=(("lamp 21 W", "A.in"),), at=("A.in",)))
    assert mine != volts(CycleOptions(leave=leave, at=("A.in",)))


def test_the_night_counts_what_the_own_clamp_read() -> None:
    """With an own clamp a reading at rest was once not counted at all."""
    line = "F1 in asleep clamp 0.25 A\n"
    usual = drain(SHEET, line, DrainOptions())
    own = drain(SHEET, f'my clamp "offset 30 mA"\n{line}', DrainOptions())
    amps = [r["read"]["amps"] for got in (usual, own) for r in got["fuses"]]
    assert amps == pytest.approx([0.25, 0.22])


# ---- whose ------------------------------------------------------------------------------------------
def test_a_line_says_who_read_it() -> None:
    assert signed("A.in in on meter 12 V  # twice", "B. Two") == 'A.in in on meter 12 V by "B. Two"  # twice'
    assert reader_of('A.in in on meter 12 V by "B. Two"  # twice') == ("A.in in on meter 12 V", "B. Two")
    assert reader_of('my lamp "draws 0.4 A"') == ('my lamp "draws 0.4 A"', "")
    for line in ("", "   ", "# a comment"):
        assert signed(line, "A") == line
    assert signed("x", 'A "the" #1') == "x by \"A 'the' 1\""


def test_a_number_sign_within_quotes_is_no_remark() -> None:
    """It once cut the line there, and the job could not be read again."""
    line = 'note "door #2 was open"  # told by phone'
    got = signed(line, "B. Two")
    assert got == 'note "door #2 was open" by "B. Two"  # told by phone'
    assert reader_of(got) == ('note "door #2 was open"', "B. Two")
    assert reader_of('note "by \\"A\\" #1"')[1] == ""


def test_each_reads_with_their_own() -> None:
    text = (
        'my meter "offset 0.5 V" by "A"\n'
        'A.in in on meter 8 V by "A"\n'
        'A.in in on meter 8 V by "B"\n'
        'my meter "offset 0.2 V" by "B"\n'
        'with F1 pulled by "B"\n'
        'A.in in on meter 8 V by "A"\n'
        'A.in in on meter 8 V by "B"\n'
    )
    used = observations(CIRCUIT, text).used
    assert [round(o.value, 6) for o in used] == [7.5, 8.0, 7.5, 7.8]
    assert [o.by for o in used] == ["A", "B", "A", "B"]
    assert used[2].conditions.pulled == ("F1",)
    assert said(text, "A").told == (("meter", "offset 0.5 V"),)
    assert said(text, "B").told == (("meter", "offset 0.2 V"),)
    assert said(text, "C").told == ()
    brought = Own((("meter", "offset 9 V"), ("lamp", "12 V 21 W")), "A")
    assert dict(in_hand(text, brought).told) == {"meter": "offset 0.5 V", "lamp": "12 V 21 W"}
    # what C brought is C's alone
    theirs = Own((("meter", "offset 1 V"),), "C")
    other = observations(CIRCUIT, text + 'A.in in on meter 8 V by "C"\n', theirs)
    assert [round(o.value, 6) for o in other.used] == [7.5, 8.0, 7.5, 7.8, 7.0]


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.delenv("AMPTRAIL_BY", raising=False)
    monkeypatch.chdir(tmp_path)
    Path("a.sheet").write_text(SHEET)

    def call(line: str) -> dict[str, Any]:
        main([*shlex.split(line), "--json"])
        return dict(json.loads(capsys.readouterr().out))

    call("job new one a.sheet --by A")
    call("job add one 'my meter \"offset 0.5 V\"' --by A")
    call("job new two a.sheet --by B")
    call("job add two 'my meter \"offset 0.2 V\"' --by B")
    return call


def _value(got: dict[str, Any]) -> float:
    return float(got["runs"][0]["phases"][0]["readings"][0]["value"])


def test_on_the_command_line_it_is_who_asks(shop: Any) -> None:
    ask = "expect a.sheet --phase on --at A.in"
    plain = _value(shop(ask))
    assert _value(shop(f"{ask} --by A")) == pytest.approx(plain + 0.5)
    assert _value(shop(f"{ask} --by B")) == pytest.approx(plain + 0.2)
    assert _value(shop(f"{ask} --by nobody")) == plain
    # a job brings what was said in it; another technician has their own in hand
    assert _value(shop("expect one --phase on --at A.in")) == pytest.approx(plain + 0.5)
    assert shop("expect one --phase on --at A.in")["own_instruments"] == {"meter": "offset 0.5 V"}
    shop("job add one 'A.in in on meter 8 V' --by B")  # brings B's along, and from now on each line is signed
    assert _value(shop("expect one --phase on --at A.in --by B")) == pytest.approx(plain + 0.2)
    assert _value(shop("expect one --phase on --at A.in --by A")) == pytest.approx(plain + 0.5)
    lines = case("one").texts()[1].splitlines()
    assert lines == ['my meter "offset 0.5 V" by "A"', 'my meter "offset 0.2 V" by "B"',
                     'A.in in on meter 8 V by "B"']  # fmt: skip
    for words in ("next one --by B", "suspects one --by B", "condemn one --part A --by B", "draw one --by B"):
        assert shop(words)["exit"] in (0, 1), words


def test_on_the_pages_it_is_who_is_at_the_device(shop: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_files(name: str) -> str:
        raise AssertionError(name)

    run("people", "A", ["technician"], no_files)
    run("people", "B", ["technician"], no_files, by="A")
    run("add", "one", ["lit in on does not work"], no_files, by="A")
    shown = {}
    with TestClient(create_app(), headers={"accept": "text/html"}) as c:
        for who in ("A", "B"):
            monkeypatch.setenv("AMPTRAIL_BY", who)  # who started the pages
            page = c.get("/job/one/circuit?phase=on&instrument=meter").text
            assert f"of your own (offset {'0.5' if who == 'A' else '0.2'} V)" in page
            shown[who] = page
            assert f"your own meter: offset {'0.5' if who == 'A' else '0.2'} V" in c.get("/job/one").text
    assert shown["A"] != shown["B"]
