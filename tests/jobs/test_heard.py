"""Readings of a part named alone, and of a new fuse that blows: what is understood of them."""

from __future__ import annotations

import pytest

from amptrail.jobs.judging.suspects import judge, suspects
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse

SHEET = """
phase running 9 s
phase asleep 1 h
battery BAT 12.6 V
fuse F1 10 A
switch S closed in running
motor M 0.5 ohm breaks 3 A runs 6 A at 13 V
path BAT.+ -- F1 -- [W1: 1 mm2 2 m] -- S -- M -- body
path BAT.- -- body
must turns: M.in to M.out 9 V or more in running; 1 V or less in asleep
"""
CIRCUIT = parse(SHEET)


@pytest.mark.parametrize(
    ("line", "what", "ends"),
    [
        ("M in running meter 11 V", "volts", ("M.in", "M.out")),
        ("M in running lamp bright", "volts", ("M.in", "M.out")),
        ("BAT in running meter 12.4 V", "volts", ("BAT.+", "BAT.-")),
        ("M in off ohmmeter 0.5 ohm", "ohms", ("M.in", "M.out")),
        ("F1 in off ohmmeter over range", "ohms", ("F1.in", "F1.out")),
        ("F1 in running fuse-drop 3 mV", "volts", ("F1.in", "F1.out")),
    ],
)
def test_a_part_named_alone_is_read_across(line: str, what: str, ends: tuple[str, str]) -> None:
    (o,) = observations(CIRCUIT, line + "\n").used
    assert o.spot is not None and o.spot.what == what and (str(o.spot.a), str(o.spot.b)) == ends
    assert 0 <= judge(CIRCUIT, line + "\n", "off").post.nothing_broken <= 1


@pytest.mark.parametrize(
    "line", ["F1 in running lamp bright", "S in running meter 12 V", "W1 in running lamp dim"]
)
def test_where_no_end_is_plain_the_line_is_left_out_and_says_what_to_write(line: str) -> None:
    got = suspects(SHEET, line + "\n")
    (left_out,) = got["readings_ignored"]
    assert got["exit"] == 0 and left_out["line"] == 1 and "such as" in left_out["reason"]


@pytest.mark.parametrize("line", ["F1 in running blows after 3 s", "F1 in running eye blows after 3 s"])
def test_a_new_fuse_that_blows_speaks_for_a_short_and_not_for_the_fuse(line: str) -> None:
    told = "turns in running does not work\nF1 in off looks blown\n"

    def fuse_alone(readings: str) -> float:
        j = judge(CIRCUIT, readings, "off")
        return sum(
            float(p)
            for s, p in zip(j.suspects, j.post.probability, strict=True)
            if s.key in ("F1:open", "F1:missing")
        )

    assert fuse_alone(told + line + "\n") < 0.2 * fuse_alone(told)


@pytest.mark.parametrize(
    ("line", "works"), [("M in running sounds silent", False), ("M in running sounds rough", True)]
)
def test_a_load_that_is_heard_works_and_one_that_is_silent_does_not(line: str, works: bool) -> None:
    (heard,) = observations(CIRCUIT, line + "\n").used
    assert heard.kind == "works" and (heard.word == "works") is works


def test_nothing_is_heard_of_a_fuse_and_a_relay_may_not_click() -> None:
    assert suspects(SHEET, "F1 in running sounds silent\n")["readings_ignored"]
    relay = parse(SHEET + "relay K1\npath F1.out -- K1.86-85 -- body\n")
    (heard,) = observations(relay, "K1 in running does not click\n").used
    assert (heard.kind, heard.word) == ("clicks", "silent")
