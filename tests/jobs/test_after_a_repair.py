"""What the visit card writes when a repair changed nothing: it must move the plan on, not round in a ring."""

from __future__ import annotations

from pathlib import Path

from amptrail.jobs.judging.nexttest import NextOptions
from amptrail.jobs.judging.visiting import visiting

STARTER = (Path(__file__).parents[2] / "demos" / "starter.sheet").read_text(encoding="utf-8")
SHORTED = """cranks in cranking does not work
DASH in cranking is bright
with K1 out
K1.30 in running meter 0.00 V
without conditions
F_START in off looks bad
with F_START pulled, feed from F_START.in to F_START.out lamp 21 W
F_START.out in cranking meter 0.30 V
without conditions
"""


def test_a_short_that_was_not_found_where_it_was_looked_for_is_looked_for_elsewhere() -> None:
    readings, looked = SHORTED, list[str]()
    for _ in range(3):
        got = visiting(STARTER, readings, NextOptions())
        first = got["weighed"]["suspects"][0]
        short = next(f for f in first["faults"] if f["mode"] == "to_ground")
        told = got["still_the_same"]
        assert (
            f"{short['part']}.{short['terminal']} repaired" in told
        )  # a new part does not cure metal on metal
        assert f"{short['part']} replaced" not in told
        looked.append(short["part"])
        readings += told + "\n"
    assert len(set(looked)) == 3


def test_a_part_renewed_in_vain_is_told_as_replaced() -> None:
    got = visiting(STARTER, "cranks in cranking does not work\nF_START in off looks bad\n", NextOptions())
    assert got["weighed"]["suspects"][0]["text"] == "F_START open"
    assert got["still_the_same"] == "F_START replaced, no change"
