"""A clamp goes round one lead: of a part with several currents the error names them, at its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.errors import InputError
from amptrail.jobs.judging.suspects import suspects

SPRAYER = (Path(__file__).parent.parent.parent / "demos" / "sprayer.sheet").read_text(encoding="utf-8")


@pytest.mark.parametrize(("part", "named"), [("K4", "K4.87"), ("X7", "X7.5")])
def test_a_part_with_several_currents_is_asked_which(part: str, named: str) -> None:
    with pytest.raises(InputError) as e:
        suspects(SPRAYER, f"PUMP in running does not work\n{part} in asleep clamp 420 mA\n")
    (problem,) = e.value.problems
    assert problem.line == 2
    assert named in problem.expected
    assert "one lead" in problem.message
    assert suspects(SPRAYER, f"{named} in asleep clamp 0 mA\n")["readings_used"] == 1


@pytest.mark.parametrize("at", ["X7.5", "X7.5.a", "X7.5.b", "K4.coil", "W9", "PUMP", "BAT"])
def test_one_lead_is_read(at: str) -> None:
    """Of a cavity too, whichever side of the plug the clamp is on: the current is one."""
    got = suspects(SPRAYER, f"PUMP in running does not work\n{at} in asleep clamp 0 mA\n")
    assert got["readings_used"] == 2
