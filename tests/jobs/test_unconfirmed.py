"""Figures nobody stated are told by `check`; remedies name the word the person wrote."""

from __future__ import annotations

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

SHEET = """
phase ignition-on 10 s
phase asleep 60 s
battery BAT 12 V
module M
M.31 ground
M.30 supply 30 ohm awake
M.15 input ign pull-down on at 5 V off at 3 V
M awake while ign
M.q low-side q leak 1 Mohm while ign
path BAT.+ -- M.30
path BAT.+ -- M.15
path M.31 -- body
joint STRAP 1 mohm
path BAT.- -- STRAP -- body
resistor R 10 ohm
path BAT.+ -- R -- M.q
"""


def unconfirmed(sheet: str) -> list[str]:
    got = answer(["check", "s.sheet"], Files({"s.sheet": sheet}))
    assert got["exit"] == 0, got["problems"]
    return list(next(p for p in got["parts"] if p["name"] == "M")["unconfirmed"])


def test_what_a_module_was_only_assumed_to_draw_is_unconfirmed() -> None:
    assert unconfirmed(SHEET) == ["lives_above_v", "30 asleep_ohm", "15 pull_ohm", "q on_ohm"]


def test_what_was_stated_is_confirmed() -> None:
    said = SHEET.replace(
        "M.30 supply 30 ohm awake", "M lives above 6 V\nM.30 supply 30 ohm awake 1 kohm asleep"
    )
    said = said.replace("pull-down on", "pull-down 10 kohm on").replace("q leak", "q on 0.1 ohm leak")
    assert unconfirmed(said) == []


def remedy(line: str) -> str:
    got = answer(["check", "s.sheet"], Files({"s.sheet": line + "\nbattery BAT 12 V\n"}))
    (problem,) = [p for p in got["problems"] if p["code"] == "unknown-base"]
    return str(problem["remedy"])


def test_the_remedy_of_a_phase_without_base_keeps_its_name() -> None:
    assert remedy("phase reverse 20 s").endswith("phase reverse as ignition-on 20 s".replace("20", "10"))
    assert remedy("phase tail as runing 20 s").endswith("phase tail as running 10 s")
