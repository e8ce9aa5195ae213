"""The search for feeds on the demos: something that holds, something tempting refused for the right reason.

What is expected was written from the sheets by hand: the pump of the sprayer is driven by a relay that the
controller grounds with the key; fuse F9 before it is live day and night.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

DEMOS = Path(__file__).parents[2] / "demos"


@cache
def _found(demo: str, *more: str) -> dict[str, Any]:
    files = {"s": (DEMOS / f"{demo}.sheet").read_text(encoding="utf-8")}
    readings = DEMOS / f"{demo}.readings"
    if readings.exists():
        files["r"] = readings.read_text(encoding="utf-8")
    return answer(["feed", "s", *more], Files(files))


def _of(got: dict[str, Any], verdict: str) -> list[dict[str, Any]]:
    return [r for r in got["feeds"] if r["verdict"] == verdict]


THREE = [
    ("sprayer", "PUMP", ("--against", "W10 open"), "off_when_required"),
    ("trailer", "STOP_L,STOP_R", (), "sleep_current"),
    ("sprayer", "STOP", ("--against", "W7 open"), "refuse_list"),
    ("blower", "BLOWER", (), "interlock"),
]


@pytest.mark.parametrize(("demo", "part", "more", "rule"), THREE)
def test_a_demo_has_a_feed_that_holds_and_a_tempting_one_that_does_not(
    demo: str, part: str, more: tuple[str, ...], rule: str
) -> None:
    got = _found(demo, "--restore", part, *more)
    assert got["exit"] == 0, got["problems"]
    holds, refused = _of(got, "holds"), _of(got, "refused")
    assert holds
    tempting = [r for r in refused if r["tempting"]]
    assert tempting
    assert rule in {m["rule"] for m in tempting[0]["refusals"]}
    assert [r["rank"] for r in got["feeds"]] == list(range(1, len(got["feeds"]) + 1))
    for r in got["feeds"]:
        assert any(p["area_mm2"] for p in r["parts"])
        assert r["label"].startswith("TEMPORARY FEED")
        assert "asleep" in r["drawing"]


def test_what_is_found_is_judged_alike_when_asked_for_by_its_words() -> None:
    for row in _found("sprayer", "--restore", "PUMP", "--against", "W10 open")["feeds"]:
        again = _found("sprayer", "--feed", row["text"], "--against", "W10 open")["feeds"][0]
        assert again["verdict"] == row["verdict"]
        assert {m["rule"] for m in again["refusals"]} == {m["rule"] for m in row["refusals"]}


def test_what_is_taken_as_broken_is_said() -> None:
    got = _found("trailer", "--restore", "STOP_L,STOP_R")
    assert got["search"]["assumed"] is True
    assert got["search"]["against"] == "W16 open"  # the last lead both lamps hang on
    assert got["search"]["functions"] == ["stops", "stop-right"]
    assert _found("sprayer", "--restore", "PUMP", "--against", "W10 open")["search"]["assumed"] is False


def test_a_lost_ground_gets_a_new_ground() -> None:
    got = _found("sprayer", "--restore", "PUMP", "--against", "W12 open", "--nominal")
    assert "new ground" in {r["what"] for r in _of(got, "holds")}


def test_a_burnt_relay_gets_a_relay_beside_its_coil() -> None:
    got = _found("sprayer", "--restore", "pump-runs", "--against", "K4 burnt", "--nominal")
    assert [r["what"] for r in _of(got, "holds")][:1] == ["added relay"]


@pytest.mark.parametrize(
    ("argv", "code"),
    [
        (("--restore", "PUNP"), "no-such-part"),
        (("--restore", ","), "usage"),
        (("--restore", "WARN"), "nothing-to-restore"),
        (("--restore", "PUMP", "--against", "WARN open"), "no-way-broken"),
        (("--restore", "PUMP", "--fitted", "J9"), None),
    ],
)
def test_bad_questions_are_refused_with_a_remedy(argv: tuple[str, ...], code: str | None) -> None:
    got = _found("sprayer", *argv)
    assert got["exit"] == 2
    first = got["problems"][-1]
    assert first["remedy"] or first["expected"]
    assert code in (None, first["code"])


def test_a_suspect_still_alive_makes_it_undecided_with_the_test_that_excludes_it() -> None:
    """No volts at the pump while K4 clicks: its contact, or the plug behind it. A relay that feeds K4.87
    helps against the first only; one that feeds the pump itself holds against both."""
    sheet = (DEMOS / "sprayer.sheet").read_text(encoding="utf-8")
    told = "battery 12.5 V\nPUMP.in in ignition-on meter 0 V\nK4 in ignition-on clicks\n"
    argv = ["feed", "s", "--readings", "r"]
    begin, end = "from BAT.+ to", "through relay switched by K4.86 to K4.85 suppressed fuse 15 A wire"
    argv += ["--feed", f"{begin} K4.87 {end} 3 mm2 5.4 m"]
    argv += ["--feed", f"{begin} PUMP.in {end} 6 mm2 9.4 m cut W10, W8"]
    got = answer(argv, Files({"s": sheet, "r": told}))
    first, second = got["feeds"]
    assert first["verdict"] == "undecided"
    (suspect,) = {m["suspect"] for m in first["would_break"]}
    assert suspect.startswith(("X7.4", "W10", "X9.1", "F9"))  # behind K4.87, or before the relay's own feed
    assert suspect in first["decides"]
    assert second["verdict"] == "holds"


def test_a_thin_ground_that_is_the_starters_return_is_refused_and_never_chosen() -> None:
    """200 A for 3 s is 1.2e5 A2s; 1.25 mm2 bears (115 x 1.25)^2 = 2.1e4 A2s (IEC 60364-4-43, k = 115)."""
    thin = "from CLAMP_N.out to BAT.- wire 1.25 mm2 0.3 m"
    against = ("--against", "CLAMP_N resistance 100 mohm", "--nominal")
    row = _found("starter", "--feed", thin, *against)["feeds"][0]
    assert "adiabatic_ground" in {m["rule"] for m in row["refusals"]}
    best = _found("starter", "--restore", "STA", *against)["feeds"][0]
    assert best["verdict"] == "holds"
    assert best["parts"][0]["area_mm2"] >= 50  # as thick as the battery cable it stands in for


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("from BAT.+ to BAT.- fuse 15 A wire 2.5 mm2 1 m", "across-battery"),
        ("from F9.in to G1 fuse 15 A wire 2.5 mm2 1 m", "across-battery"),
        ("from F33.out to K4.86 fuse 5 A wire 0.75 mm2 2 m", "unknown-part"),
        ("from F3.out to K4.86", "feed-without-wire"),
    ],
)
def test_a_feed_that_cannot_be_is_refused_with_a_remedy(text: str, code: str) -> None:
    got = _found("sprayer", "--feed", text, "--against", "W10 open", "--nominal")
    assert (got["exit"], got["problems"][0]["code"]) == (2, code)
    assert got["problems"][0]["remedy"]


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("from BAT.+ to PUMP.in wire 2.5 mm2 4 m", "no_fuse_at_source"),
        ("from F9.in to PUMP.in fuse 15 A wire 0.1 mm2 4 m", "wire_rating"),
        ("from F4.out to STOP.in fuse 5 A wire 0.75 mm2 1 m", "refuse_list"),
    ],
)
def test_a_feed_that_must_not_be_is_refused_by_its_rule(text: str, rule: str) -> None:
    row = _found("sprayer", "--feed", text, "--against", "W10 open", "--nominal")["feeds"][0]
    assert row["verdict"] == "refused"
    assert rule in {m["rule"] for m in row["refusals"]}


def test_ground_to_ground_is_normal_work() -> None:
    """A strap beside a resistive ground of the pump: a new leg of G1, no fuse."""
    row = _found("sprayer", "--feed", "from PUMP.out to G1 wire 2.5 mm2 3 m cut W11",
                 "--against", "W12 open", "--nominal")["feeds"][0]  # fmt: skip
    assert row["verdict"] == "holds", row["why"]
    assert row["kind"] == "ground"


def test_a_lead_chafed_to_ground_is_cut_out_on_both_sides_of_the_chafe() -> None:
    """The metal between X7.4 and W10 is on ground: what stays joined to it takes the new feed down."""
    got = _found("sprayer", "--restore", "PUMP", "--against", "X7.4.b to ground 50 mohm", "--nominal")
    best = _of(got, "holds")[0]
    again = _found("sprayer", "--feed", best["text"], "--against", "X7.4.b to ground 50 mohm", "--nominal")
    assert again["feeds"][0]["verdict"] == "holds"
    assert len(best["text"].partition(" cut ")[2].split(",")) == 2


def test_a_ground_that_several_wires_share_is_bypassed_at_its_middle() -> None:
    """The ground itself has gone bad, not the wires to it: a new strap beside it serves both lamps."""
    sheet = """
place boom 5 min
phase ignition-on 10 s
phase asleep 600 s
battery BAT 12.6 V 10 mohm
fuse F1 15 A
switch SW closed in ignition-on
lamp L 12 V 21 W at boom
lamp R 12 V 21 W at boom
ground G at boom
path BAT.+ -- F1 -- [W1: RD 2.5 mm2 1 m] -- SW -- [W2: YE 2.5 mm2 4 m] -- L -- [W3: BN 1.5 mm2 1 m] -- G
path SW.out -- [W4: YE 2.5 mm2 4 m] -- R -- [W5: BN 1.5 mm2 1 m] -- G
path BAT.- -- [W6: BK 16 mm2 1 m] -- body
must left: L.in to L.out 10 V or more in ignition-on; 1 V or less in asleep
must right: R.in to R.out 10 V or more in ignition-on; 1 V or less in asleep
"""
    got = answer(["feed", "s", "--restore", "left,right", "--against", "G open"], Files({"s": sheet}))
    assert any(r["text"].startswith("from G to ") for r in _of(got, "holds"))
