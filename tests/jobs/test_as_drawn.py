"""A sheet whose sound vehicle does not do what it must is told before anything is ranked by it."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.jobs.judging.asdrawn import as_drawn
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import parse

DEMOS = Path(__file__).parents[2] / "demos"
SHEET = """phase running 60 s
phase asleep 1 h
battery BAT
fuse F1 {fuse} A
relay K coil 85 ohm pulls {pulls} V
switch S closed in running
motor M 0.5 ohm breaks 5 A runs 20 A at 13 V
path BAT.+ -- F1 -- K.30-87 -- M -- BAT.-
path F1.out -- S -- K.86-85 -- BAT.-
must runs: M.in to M.out 9 V or more in running; 1 V or less in asleep
"""


@pytest.mark.parametrize(
    ("fuse", "pulls", "said"),
    [(30, 7, []), (5, 7, ["F1 opens", "runs in running"]), (30, 16, ["runs in running: 0 V, must be 9 V"])],
)
def test_what_the_sound_vehicle_does_not_do_is_said(fuse: int, pulls: int, said: list[str]) -> None:
    text = SHEET.format(fuse=fuse, pulls=pulls)
    told = [p.message for p in as_drawn(parse(text))]
    assert len(told) == len(said) and all(s in t for s, t in zip(said, told, strict=True))
    codes = [p["code"] for p in suspects(text, "")["problems"]]
    assert codes.count("not-as-it-must") == len(said)


def test_the_demos_do_what_they_must() -> None:
    for sheet in sorted(DEMOS.glob("*.sheet")):
        assert as_drawn(parse(sheet.read_text(encoding="utf-8"))) == (), sheet.name
