"""Loops and sneak feeds from published sneak-circuit work, to the figures a hand gets from Kirchhoff's laws.

Loops: counting reversals, clue 109A "unstable or irreversible state" and the relay clue of ECSS-Q-TM-40-04
Part 2A (seen). Sneak feeds: the topologies of MIL-STD-785B Task 205 (seen in a secondary source;
RADC-TR-90-109 and NAVSEA TE001-AA-GYD-010/SCA as titles). Circuits and numbers are our own, by hand.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

HERE = Path(__file__).parent


def _text(name: str) -> str:
    return (HERE / f"{name}.sheet").read_text(encoding="utf-8")


def _run(text: str, *argv: str) -> dict[str, Any]:
    """Phase name -> its object, of the only run."""
    got = answer(["expect", "s", "--nominal", *argv], Files({"s": text}))
    assert got["exit"] == 0, got["problems"]
    return {p["phase"]: p for p in got["runs"][0]["phases"]}


def _meter(text: str, phase: str, *points: str, **more: str) -> list[float]:
    """Ideal readings: the meter's 10 Mohm moves these nodes by less than the tolerance used."""
    extra = [x for k, v in more.items() for x in (f"--{k}", v)]
    got = _run(text, "--phase", phase, *[x for p in points for x in ("--at", p)], *extra)
    return [r["value"] for r in got[phase]["readings"]]


@pytest.mark.parametrize("name", ["htie", "lost_ground", "seal_in", "two_relays"])
def test_the_sheets_are_sound(name: str) -> None:
    got = answer(["check", "s"], Files({"s": _text(name)}))
    assert got["exit"] == 0
    assert [p for p in got["problems"] if p["severity"] == "error"] == []


def test_h_tie_feeds_the_lamp_that_is_off() -> None:
    """Va = 12 / (1 + 0.02 (1/12 + 1/12.05)) = 11.9602 V, Vb = Va x 12 / 12.05 = 11.9106 V; else 11.98 / 0."""
    text = _text("htie")
    assert _meter(text, "one", "LA.in", "LB.in", feed="TIE") == pytest.approx([11.9602, 11.9106], abs=1e-4)
    assert _meter(text, "one", "LA.in", "LB.in") == pytest.approx([11.98, 0.0], abs=1e-3)


def test_lost_ground_feeds_a_dead_rail_backwards() -> None:
    """12 V over 12 + 12 + 6 ohm: 0.400 A; the lost ground stands at 7.2 V, the dead feed at 2.4 V."""
    text = _text("lost_ground")
    text += "\npoint amps_a amps LA\n"
    fault = {"fault": "COMMON open"}
    assert _meter(text, "one", "amps_a", **fault) == pytest.approx([0.4], abs=1e-4)
    assert _meter(text, "one", "COMMON.in", "S2.out", **fault) == pytest.approx([7.2, 2.4], abs=1e-3)


def test_a_seal_in_relay_has_two_states_at_rest_and_one_with_a_button() -> None:
    on = {n: p["state"]["relays_energised"] == ["K"] for n, p in _run(_text("seal_in")).items()}
    assert on == {
        "rest": False,  # start off, stop off, never used: off
        "start": True,
        "after-start": True,  # start off, stop off again: on, the second stable state
        "stop": False,
        "after-stop": False,
        "start-and-stop": False,
        "asleep": False,
    }


def test_two_relays_that_feed_each_other_never_let_go() -> None:
    first = _run(_text("two_relays"))
    on = {n: p["state"]["relays_energised"] for n, p in first.items()}
    assert on == {"rest": [], "input": ["K1", "K2"], "input-gone": ["K1", "K2"], "asleep": ["K1", "K2"]}
    again = _run(_text("two_relays"), "--cycles", "2")
    assert again["rest"]["state"]["relays_energised"] == ["K1", "K2"]


def _ring(n: int) -> str:
    """Relays in a ring, each coil on the break contact of the one before: n reversals.

    SET feeds the first coil, RESET breaks its feed.
    """
    lines = [
        f'vehicle "Ring of {n}"', "laws oracle-1",
        "phase rest as asleep 60 s", "phase set as ignition-on 5 s", "phase after-set as ignition-on 5 s",
        "phase reset as ignition-on 5 s", "phase after-reset as ignition-on 5 s",
        "battery BAT 12.6 V 10 mohm", "switch SET 10 mohm closed in set",
        "switch RESET 10 mohm closed in rest, set, after-set, after-reset",
    ]  # fmt: skip
    lines += [f"relay K{i} coil 85 ohm pulls 7 V drops 3 V contact 3 mohm" for i in range(1, n + 1)]
    for i in range(1, n + 1):
        before = n if i == 1 else i - 1
        lines.append(
            f"path BAT.+ -- K{before}.30-87a -- " + ("RESET -- " if i == 1 else "") + f"K{i}.86-85 -- BAT.-"
        )
    lines.append("path BAT.+ -- SET -- K1.86")
    return "\n".join(lines)


@pytest.mark.parametrize("n", range(1, 9))
def test_a_ring_latches_with_an_even_number_of_reversals_and_buzzes_with_an_odd_one(n: int) -> None:
    got = _run(_ring(n))
    every_other = sorted(f"K{i}" for i in range(1, n + 1, 2))
    the_others = sorted(f"K{i}" for i in range(2, n + 1, 2))
    if n % 2:
        assert got["after-set"]["status"] == "chatter"
        assert got["after-reset"]["status"] == "chatter"
        assert got["after-set"]["chatter"]
    else:
        assert got["after-set"]["status"] == "settled"
        assert sorted(got["after-set"]["state"]["relays_energised"]) == every_other
        assert got["after-reset"]["status"] == "settled"
        assert sorted(got["after-reset"]["state"]["relays_energised"]) == the_others
