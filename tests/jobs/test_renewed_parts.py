"""What stands after a part was exchanged: the new one is in from that line on, whatever was wrong before.

The readings are those of the hidden faults by Ohm's law (an open lead carries nothing, a sound one all of the
battery's volts); the job goes in a ring when the old part is still believed to be there.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from amptrail.circuit.model import Term
from amptrail.jobs.base.context import load
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.looks import chance
from amptrail.jobs.evidence.words import column
from amptrail.jobs.judging.desk import NextOptions, choice
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.nexttest import NOTHING_LEFT, next_answer
from amptrail.jobs.judging.suspects import SuspectOptions, judge, suspects_answer
from amptrail.jobs.judging.visiting import visiting
from amptrail.jobs.solved import acting, solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse, parse_fault

DEMOS = Path(__file__).parents[2] / "demos"
SHEET = """vehicle "Hay turner, one pump"
place box 1 min
place rear 5 min damp
phase ignition-on 10 s
phase asleep 60 s
battery BAT 12.6 V 10 mohm at box
fuse F1 15 A at box
switch SW closed in ignition-on at box
connector X1 2 mohm at rear
motor PUMP 1 ohm breaks 2.5 A runs 6 A at 13 V at rear
ground G1 at rear
path BAT.- -- [W0: 25 mm2 0.5 m] -- body
path BAT.+ -- [W1: 2.5 mm2 1 m] -- F1 -- SW -- [W2: 1.5 mm2 3 m] -- X1.1 -- PUMP -- [W3: 1.5 mm2 0.5 m] -- G1
must pump-runs: PUMP.in to PUMP.out 9 V or more in ignition-on; 1 V or less in asleep
"""
FAILS = "pump-runs in ignition-on does not work\n"
OPEN_FUSE = FAILS + "F1.in in ignition-on meter 12.5 V\nF1.out in ignition-on meter 0.00 V\n"
BOTH = (
    OPEN_FUSE
    + "F1 replaced, no change\nF1.out in ignition-on meter 12.5 V\nPUMP.out in ignition-on meter 12.4 V\n"
)


def _rows(readings: str) -> tuple[Judgement, list[dict]]:  # type: ignore[type-arg]
    j = judge(load(SHEET).circuit, readings)
    return j, suspects_answer(j, {}, SuspectOptions())["suspects"]


def test_after_an_exchange_in_vain_the_new_part_is_in_and_the_other_fault_is_found() -> None:
    j, rows = _rows(BOTH)
    assert not j.post.unexplained.is_so
    first = rows[0]
    parts = {f["part"] for f in first["faults"]}
    assert "F1" in parts and parts & {"G1", "W3"}
    assert first["renewed"] == ["F1"]
    assert "F1" not in first["repair"] and ("G1" in first["repair"] or "W3" in first["repair"])


def test_a_fault_in_the_renewed_part_alone_no_longer_explains_the_complaint() -> None:
    before, after = _rows(OPEN_FUSE)[1], _rows(OPEN_FUSE + "F1 replaced, no change\n")[1]
    was, now = ([r for r in x if r["text"] == "F1 open"] for x in (before, after))
    assert sum(r["probability"] for r in now) < sum(r["probability"] for r in was) / 5
    assert any(r["why"].startswith("the new part is as bad") for r in now)


def test_the_new_part_is_not_told_with_every_test_and_is_not_exchanged_again() -> None:
    j, _ = _rows(OPEN_FUSE + "F1 replaced, no change\n")
    tests = choice(j, NextOptions()).panel.tests
    lines = [reading_line(j.circuit, t) for t in tests]
    assert lines and not any("F1 replaced" in x for x in lines)
    # asked anew, since the answer may be another one with the new part in
    assert "F1.out in ignition-on meter {value}" in lines
    assert "pump-runs in ignition-on {value}" not in lines  # "no change" has told that


def test_the_line_a_repair_in_vain_is_told_with_renews_what_is_left_only() -> None:
    told = visiting(SHEET, BOTH, NextOptions())["still_the_same"]
    assert told.endswith("replaced, no change") and "F1" not in told


def test_what_works_after_the_exchange_leaves_nothing_to_repair() -> None:
    readings = OPEN_FUSE + "F1 replaced\npump-runs in ignition-on works\n"
    j, rows = _rows(readings)
    assert {f["part"] for f in rows[0]["faults"]} == {"F1"} and rows[0]["renewed"] == ["F1"]
    assert rows[0]["repair"].startswith("repaired already") and rows[0]["repair_minutes"] == 0
    assert next_answer(j, NextOptions())["stop"]["reason"] == NOTHING_LEFT


@pytest.mark.parametrize(("fault", "blown"), [("X1.1.a to ground 50 mohm", True), ("F1 open", False)])
def test_a_short_blows_the_new_fuse_too(fault: str, blown: bool) -> None:
    circuit = load(SHEET).circuit
    new = solving.solved(circuit, [tuple(parse_fault(circuit, fault))], Conditions(renewed=("F1",)))
    assert bool(new.blown("F1")[0]) is blown
    volts = new.volts(Term("F1", "out"), Term("BAT", "-"), 0)
    assert abs(volts[0]) < 0.1 if blown else volts[0] > 12.0


def test_a_fault_the_new_part_has_too_is_there_until_a_good_one_stands_in() -> None:
    circuit = load(SHEET).circuit
    f = parse_fault(circuit, "F1 open")[0]
    stays = (replace(f, stays=True),)
    renewed = Conditions(renewed=("F1",))
    assert acting.left((f,), renewed) == () and acting.left(stays, renewed) == stays
    assert acting.left(stays, Conditions(replaced=("F1",), renewed=("F1",))) == ()


def test_no_change_repeats_what_failed_and_a_bare_exchange_says_nothing() -> None:
    circuit = load(SHEET).circuit
    told = observations(circuit, FAILS + "F1 replaced, no change\n").used
    assert [x.part for x in told[-1].tells] == ["pump-runs"] and told[-1].conditions.renewed == ("F1",)
    bare = observations(circuit, FAILS + "F1 replaced\nF1.out in ignition-on meter 12 V\n")
    assert len(bare.used) == 2 and bare.renewed == ("F1",)
    assert [o.conditions.renewed for o in bare.used] == [(), ("F1",)]
    j, _ = _rows(FAILS)
    got = solving.solved(circuit, [r for s in j.suspects for r in s.rows], told[-1].conditions)
    p = column(circuit, told[-1], got, j.suspects)
    first = [i for i, s in enumerate(j.suspects) for _ in s.rows]
    alone = [p[k] for k, i in enumerate(first) if j.suspects[i].key == "F1:open"]
    other = [p[k] for k, i in enumerate(first) if j.suspects[i].key == "W2:open"]
    assert alone and other and max(alone) < min(other) - 2.0


def test_a_look_tells_a_blown_fuse_from_an_empty_slot_and_a_short_blows_it() -> None:
    circuit = load(SHEET).circuit
    j, _ = _rows(FAILS)
    by_key = {s.key: s.causes for s in j.suspects}
    rows = [by_key["F1:open"], by_key["F1:missing"], by_key["W2:open"]]

    def p(word: str, blown: bool = False) -> list[float]:
        state = np.asarray([blown] * 3)
        return [float(x) for x in chance(circuit, "F1", word, rows, Conditions(), state)]

    assert p("blown")[0] > 0.8 > 0.1 > p("blown")[1] and p("missing")[1] > 0.8 > 0.1 > p("missing")[0]
    assert p("fine")[2] > 0.9 and p("blown", True)[2] > 0.8


def test_a_fuse_is_blown_or_missing_until_somebody_looks() -> None:
    _, rows = _rows(OPEN_FUSE)
    words = [r["words"] for r in rows]
    assert "F1 blown or missing" in words and "F1 open" not in words
    _, looked = _rows(OPEN_FUSE + "F1 in off looks missing\n")
    first = looked[0]
    assert first["words"] == first["text"] == "F1 missing" and "F1 open" not in first["equivalent"]
    assert sum(r["probability"] for r in looked if r["text"] == "F1 open") < first["probability"] / 5


def test_what_was_repaired_touches_no_metal_any_more() -> None:
    """A new plug takes no chafed wire away, a repair does: what works then was broken there."""

    def short_at(readings: str, metal: str) -> float:
        j = judge(load(SHEET).circuit, readings)
        return sum(
            float(p)
            for s, p in zip(j.suspects, j.post.probability, strict=True)
            if s.causes[-1].id == f"metal {metal}:to_ground"
        )

    blown = FAILS + "F1 in off looks blown\n"
    works = "F1 replaced\npump-runs in ignition-on works\n"
    before = short_at(blown, "X1.1.b")
    assert before > 0.01
    assert short_at(blown + "X1 repaired\n" + works, "X1.1.b") > 0.2 * before
    assert short_at(blown + "X1 replaced\n" + works, "X1.1.b") < 0.2 * before
    again = blown + "X1 repaired, no change\n"
    assert short_at(again, "X1.1.b") < 0.2 * before


def test_a_point_that_was_repaired_touches_no_metal_and_the_fuse_it_blew_is_still_to_renew() -> None:
    circuit = load(SHEET).circuit
    blown = FAILS + "F1 in off looks blown\n"
    before, after = judge(circuit, blown), judge(circuit, blown + "X1.1.b repaired, no change\n")

    def of(j: Judgement, cause: str) -> tuple[float, int]:
        h = next(h for h, s in enumerate(j.suspects) if [c.id for c in s.causes] == [cause])
        return float(j.post.probability[h]), h

    assert of(after, "metal X1.1.b:to_ground")[0] < 0.2 * of(before, "metal X1.1.b:to_ground")[0]
    both = "F1>X1.1.b:blown-by-short"
    assert of(after, both)[0] > 0.2 * of(before, both)[0]  # nobody put a new fuse in
    assert [c.id for c in before.to_repair(of(before, both)[1])] == [both]
    assert [c.id for c in after.to_repair(of(after, both)[1])] == ["F1:open"]
    assert after.renewed == ("X1.1.b",)


def test_readings_before_and_after_a_repair_do_not_contradict() -> None:
    circuit = load(SHEET).circuit
    read = "X1.1.b in ignition-on meter {} V\n"
    told = [read.format(0), read.format(12)]
    assert any(p.code == "contradicts" for p in judge(circuit, FAILS + "".join(told)).problems)
    for word in ("X1.1.b repaired", "X1 replaced"):
        mended = judge(circuit, FAILS + f"{word}\n".join(told))
        assert not any(p.code == "contradicts" for p in mended.problems)


def test_the_same_look_told_again_tells_nothing_more() -> None:
    circuit, look = load(SHEET).circuit, "X1 in off looks fine\n"
    heard = observations(circuit, FAILS + 2 * look)
    assert [o.text for o in heard.used].count(look.strip()) == 1 and "already" in heard.ignored[0][1]
    after = observations(circuit, FAILS + look + "X1 replaced\n" + look)
    assert [o.text for o in after.used].count(look.strip()) == 2


def test_what_was_mended_in_vain_is_not_blamed_again_where_the_complaint_is_in_amps() -> None:
    """No function fails, so nothing is repeated; the metals of the part are as new all the same."""
    circuit, drains = load(SHEET).circuit, "BAT in asleep clamp 5 A\n"

    def short(readings: str) -> float:
        j = judge(circuit, readings)
        return sum(
            float(p)
            for s, p in zip(j.suspects, j.post.probability, strict=True)
            if [c.id for c in s.causes] == ["metal X1.1.b:to_ground"]
        )

    told = observations(circuit, drains + "X1 repaired, no change\n").used[-1]
    assert told.made_new[0] == "X1" and "X1.1.b" in told.made_new and not told.tells
    assert short(drains + "X1 repaired, no change\n") < 0.2 * short(drains)


def test_what_is_repaired_is_told_apart_by_what_was_read_before() -> None:
    """Everything repaired reads as a sound vehicle does now: that makes no two causes alike."""
    sheet = (DEMOS / "sprayer.sheet").read_text(encoding="utf-8")
    read = (DEMOS / "sprayer.readings").read_text(encoding="utf-8")
    circuit = load(sheet).circuit

    def first(readings: str) -> tuple[str, list[str]]:
        row = suspects_answer(judge(circuit, readings), {}, SuspectOptions())["suspects"][0]
        return row["faults"][0]["part"], row["equivalent"]

    assert first(read)[0] == "G2"
    part, alike = first(read + "G2 repaired\nPUMP in ignition-on works\n")
    assert part == "G2" and not any(x.startswith(("PUMP", "W11")) or x.endswith("open") for x in alike)


def test_a_draw_that_is_said_not_to_have_changed_is_not_asked_again() -> None:
    sheet = (DEMOS / "camper.sheet").read_text(encoding="utf-8")
    told = "BAT in asleep clamp 450 mA\nX20 replaced, no change\n"
    used = judge(parse(sheet), told).seen.all
    again = [o for o in used if o.line == 2 and o.kind == "range"]
    assert [(round(o.low, 3), round(o.high, 3)) for o in again] == [(0.405, 0.495)]
    other = judge(parse(sheet), "STEP in running works\n" + told).seen.all
    assert not [o for o in other if o.kind == "range"]
