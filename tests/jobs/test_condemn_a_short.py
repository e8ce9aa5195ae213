"""A short is no part: what `condemn` says of it is as likely as the line of `suspects` it stands on."""

from __future__ import annotations

import pytest

from amptrail.jobs.judging.proofsheet import condemn
from amptrail.jobs.judging.suspects import suspects

SHEET = """
phase running 9 s
phase asleep 1 h
battery BAT 12.6 V
fuse F1 10 A
connector X1
switch S closed in running
lamp L 12 V 21 W
path BAT.+ -- F1 -- S -- [W1: 1 mm2 2 m] -- X1.1 -- [W2: 1 mm2 3 m] -- L -- body
path BAT.- -- body
"""
READ = "L in running is dark\nF1 in off looks blown\nF1 in running blows after 1 s\n"


def test_a_short_leads_with_all_that_reads_like_it() -> None:
    first = suspects(SHEET, READ)["suspects"][0]
    got = condemn(SHEET, READ)
    assert first["equivalent"] and got["part"] is None and got["exit"] == 1
    assert got["probability"] == pytest.approx(first["probability"])
