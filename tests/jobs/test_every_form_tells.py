"""Every form a readings line may take moves what is believed: four once parsed, and told nothing
(design/0018)."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.jobs.judging.suspects import judge
from amptrail.sheet import parse

CIRCUIT = parse((Path(__file__).parent.parent.parent / "demos" / "sprayer.sheet").read_text(encoding="utf-8"))
COMPLAINT = "PUMP in running does not work\n"
MOVED = 1e-4  # of some probability
FORMS = """
F9.out in ignition-on lamp bright
F9.out in ignition-on lamp 21 W dim
PUMP.in in running meter 11,9 V
PUMP.in to PUMP.out in running loaded 2.1 V battery 11.8 V unsure
K4.87 in asleep clamp 420 mA
F9 in asleep fuse-drop 0.3 mV
PUMP.in to PUMP.out in off ohmmeter over range
K4.85 to K4.86 in off ohmmeter beeps
K4.85 in ignition-on meter 0.2 V to 0.6 V fluctuates
PUMP.in in running meter 3 V to 13 V fluctuates
PUMP in running works 7 of 10
K4.87 in ignition-on lamp lit 12 s then dark
K4.87 in ignition-on lamp lit > 5 s
K4.85 in ignition-on lamp from BAT.+ bright
PUMP replaced, no change
G2 repaired, no change
shop says BAT.+ in cranking meter 9.6 V
ECM says P0230 in running
WARN in ignition-on is dim unsure
X7.4 in off looks corroded
K4 in ignition-on clicks
K4 in ignition-on does not click
ECM in ignition-on does not answer
PUMP in running sounds silent
PUMP in running hand hot
F9 in running blows after 3 s
PUMP.in in running meter same as battery
PUMP.in in running meter nothing
PUMP.in in running meter alternates
PUMP.in in running led bright
PUMP.in in running scope 12 V
STOP in running eye dim
worked on X7 "tow hitch"
X7.4 in running meter 3 V to 12 V jumps when X7 moved
PUMP in running jumps when X7 moved
PUMP.in in running meter 12 V intermittent
PUMP.in in running meter 12 V old
PUMP in running does not work while failing
F9.out in ignition-on meter 12.5 V while working
PUMP in running is off
"""


COMES_AND_GOES = "PUMP in running works 7 of 10\n"


def _believed(lines: str) -> dict[str, float]:
    j = judge(CIRCUIT, lines, "off")
    assert not j.ignored
    out: dict[str, float] = {}
    for s, p in zip(j.suspects, j.post.probability, strict=True):
        out[s.key] = out.get(s.key, 0.0) + float(p)
    return out


def _moved(before: dict[str, float], after: dict[str, float]) -> float:
    return max(abs(before.get(k, 0.0) - after.get(k, 0.0)) for k in {*before, *after})


@pytest.mark.parametrize("line", FORMS.strip().splitlines())
def test_it_moves_what_is_believed(line: str) -> None:
    assert _moved(_believed(COMPLAINT), _believed(f"{COMPLAINT}{line}\n")) > MOVED


def test_what_stays_when_it_is_moved_tells_of_a_fault_that_comes_and_goes() -> None:
    """Of a steady one it tells nothing: that stays whatever is moved."""
    line = "PUMP in running stays when X7 moved\n"
    assert _moved(_believed(COMES_AND_GOES), _believed(COMES_AND_GOES + line)) > MOVED
    assert _moved(_believed(COMPLAINT), _believed(COMPLAINT + line)) < MOVED


STANDING = ("X9 unplugged", "F9 pulled", "K4 out", "K4 replaced", "feed from F9.out to PUMP.in fuse 15 A")


@pytest.mark.parametrize("condition", STANDING)
def test_a_standing_condition_changes_what_the_same_reading_says(condition: str) -> None:
    plain = _believed(f"{COMPLAINT}PUMP.in in running meter 12 V\n")
    other = _believed(f"{COMPLAINT}with {condition}\nPUMP.in in running meter 12 V\n")
    assert _moved(plain, other) > MOVED
