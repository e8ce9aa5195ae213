"""Public stories whose danger is a loop, a back-feed or a hidden current: hand figures and the judge's rules.

Stories A10, A20, A29, B06 (addresses in stories/loops/expected.toml); what a story does not tell is assumed.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

STORIES = Path(__file__).parents[2] / "stories"
FINDINGS: list[dict[str, Any]] = tomllib.loads(
    (STORIES / "loops" / "expected.toml").read_text(encoding="utf-8")
)["finding"]
IDS = [f"{f['story']}-{i}" for i, f in enumerate(FINDINGS)]


def _text(f: dict[str, Any]) -> str:
    return (STORIES / f"{f['sheet']}.sheet").read_text(encoding="utf-8")


def test_all_four_stories_are_there() -> None:
    assert {f["story"] for f in FINDINGS} == {"A10", "A20", "A29", "B06"}


@pytest.mark.parametrize("f", FINDINGS, ids=IDS)
def test_a_sheet_is_sound_and_a_finding_has_its_source(f: dict[str, Any]) -> None:
    got = answer(["check", "s"], Files({"s": _text(f)}))
    assert got["exit"] == 0
    assert f["source"].startswith("https://") or f["source"].startswith("http://")
    assert f["what"] and f["why"]


@pytest.mark.parametrize("f", [f for f in FINDINGS if "around" in f], ids=lambda f: f["story"])
def test_the_current_is_the_one_a_hand_gets(f: dict[str, Any]) -> None:
    """Clamp around the part named, meter at the point named, within 4 % of the hand's figure."""
    text, argv = _text(f), ["expect", "s", "--nominal", "--phase", f["phase"]]
    argv += ["--feed", f["feed"]] if "feed" in f else []
    argv += ["--fault", f.get("against", f.get("fault"))] if f.get("against", f.get("fault")) else []
    argv += ["--at", f["around"], "--with", "clamp"]
    got = answer(argv, Files({"s": text}))
    assert got["exit"] == 0, got["problems"]
    value = got["runs"][0]["phases"][0]["readings"][0]["value"]
    assert value == pytest.approx(f["amps"], rel=0.04)
    if "point" in f:
        argv = [*argv[: argv.index("--at")], "--at", f["point"]]
        got = answer(argv, Files({"s": text}))
        assert got["runs"][0]["phases"][0]["readings"][0]["value"] == pytest.approx(f["volts"], rel=0.04)


def _fitted(f: dict[str, Any]) -> list[str]:
    argv = ["--feed", f["feed"]] if "feed" in f else []
    fault = f.get("against", f.get("fault"))
    return [*argv, "--fault", fault] if fault else argv


def _in_order(wanted: list[str], parts: list[str]) -> bool:
    left = iter(parts)
    return all(any(p == w or p.startswith(f"{w}.") for p in left) for w in wanted)


@pytest.mark.parametrize("f", [f for f in FINDINGS if "trail_at" in f], ids=lambda f: f["story"])
def test_the_trail_names_the_way_the_current_takes(f: dict[str, Any]) -> None:
    argv = ["trail", "s", "--at", f["trail_at"], "--phase", f["phase"], *_fitted(f)]
    got = answer(argv, Files({"s": _text(f)}))
    assert got["exit"] == 0, got["problems"]
    largest = max(got["trails"], key=lambda t: t["share"])
    assert _in_order(f["path"], largest["parts"]), largest
    assert largest["share"] > 0.9


@pytest.mark.parametrize("f", [f for f in FINDINGS if "awake" in f], ids=lambda f: f["story"])
def test_what_keeps_a_module_awake_is_named(f: dict[str, Any]) -> None:
    got = answer(["cycle", "s", *_fitted(f)], Files({"s": _text(f)}))
    assert got["exit"] in (0, 1), got["problems"]
    assert got["end"]["awake"] == [f["awake"]]
    assert got["end"]["sleep_a"] == pytest.approx(f["amps"], rel=0.01)
    because = next(w for w in got["end"]["why"] if w["item"] == f"awake {f['awake']}")
    assert any(_in_order(f["path"], re.findall(r"[\w.]+", x["because"])) for x in because["by"]), because


@pytest.mark.parametrize("f", [f for f in FINDINGS if f["rules"]], ids=lambda f: f["story"])
def test_the_judge_names_it(f: dict[str, Any]) -> None:
    argv = ["feed", "s", "--feed", f["feed"]]
    argv += ["--against", f["against"]] if "against" in f else []
    got = answer(argv, Files({"s": _text(f)}))
    assert got["exit"] == 1, got["problems"]
    assert set(f["rules"]) <= {r["rule"] for r in got["feeds"][0]["refusals"]}
