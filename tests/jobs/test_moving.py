"""A part is moved by hand, and what is watched jumps or stays: where a fault that comes and goes may lie."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.model import Fault, Term
from amptrail.faults.hypothesis import Hypothesis as Cause
from amptrail.jobs.evidence.moving import AT, BESIDE, ELSEWHERE, moved, steady
from amptrail.jobs.judging.suspects import judge, suspects
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse

SPRAYER = (Path(__file__).parent.parent.parent / "demos" / "sprayer.sheet").read_text(encoding="utf-8")
COMPLAINT = "PUMP in running works 7 of 10\n"
CIRCUIT = parse(SPRAYER)


def _of(part: str, lines: str) -> float:
    j = judge(CIRCUIT, COMPLAINT + lines)
    return sum(
        float(p)
        for p, s in zip(j.post.probability, j.suspects, strict=True)
        if any(f.at.part == part for c in s.causes for f in c.faults)
    )


WATCHED = ("PUMP in running jumps when {} moved", "PUMP.in in running meter 12.9 V jumps when {} moved")


@pytest.mark.parametrize("part", ["X7", "G2", "K4"])
@pytest.mark.parametrize("line", WATCHED)
def test_what_jumps_when_a_part_is_moved_lies_there_more_likely(part: str, line: str) -> None:
    alone = _of(part, "")
    assert _of(part, line.format(part)) > 2 * alone
    assert _of(part, line.format(part).replace("jumps", "stays")) < alone


def test_both_ends_of_a_jump_are_read_the_fault_as_it_shows_and_the_vehicle_as_it_works() -> None:
    """3 V behind a bad contact in X7, 13 V as on a sound vehicle: no steady fault gives both."""
    j = judge(CIRCUIT, COMPLAINT + "PUMP.in in running meter 3 V to 13 V jumps when X7 moved\n")
    first = j.post.ranking()[0]
    assert str(j.suspects[first].causes[0].faults[0].at) == "X7.4"
    assert j.post.table.hypotheses[first].showing < 1
    assert j.post.probability[first] > 0.5
    ohm = j.post.severity[first]
    assert ohm is not None
    assert 3 < ohm.ohm < 6  # by hand: 10.4 V at the 2.4 A that a pump of 1 ohm takes from 3 V


def test_a_jump_is_no_reading_of_a_drawing_that_is_wrong() -> None:
    """What anything may have read, a jump is not: it says that something comes and goes."""
    told = suspects(SPRAYER, COMPLAINT + "PUMP in running jumps when X7 moved\n")
    assert told["not_as_drawn"] < 0.1
    assert told["suspects"][0]["faults"][0]["part"] == "X7"


def test_one_line_is_what_was_read_and_what_it_did() -> None:
    line = "K4.87 in running meter 3 V to 13 V jumps when X7 moved while failing"
    low, high, what = observations(CIRCUIT, line).used
    assert (low.kind, low.value, high.kind, high.value) == ("number", 3.0, "number", 13.0)
    assert (what.kind, what.part, what.word) == ("moved", "X7", "jumps")
    assert {o.line for o in (low, high, what)} == {1}
    assert len({o.nth for o in (low, high, what)}) == 3
    stays = observations(CIRCUIT, "K4.87 in running meter 12.9 V stays when X7 moved").used
    assert [o.kind for o in stays] == ["number", "moved"]
    assert stays[1].word == "stays"


def test_the_chance_of_a_jump_falls_with_the_way_from_what_is_moved() -> None:
    def chance(part: str, terminal: str = "") -> float:
        cause = Cause("x", (Fault("open", Term(part, terminal)),), 0.1, "", "", 1.0)
        return moved(CIRCUIT, "X7", "jumps", (cause,), Conditions())

    wire = next(p.name for p in CIRCUIT.parts if p.kind == "wire" and _touches(p.name, "X7"))
    assert (chance("X7", "4"), chance(wire), chance("BAT")) == (AT, BESIDE, ELSEWHERE)
    assert steady("jumps") == ELSEWHERE
    mended = Cause("x", (Fault("open", Term("X7", "4")),), 0.1, "", "", 1.0)
    assert moved(CIRCUIT, "X7", "stays", (mended,), Conditions(renewed=("X7",))) == 1 - ELSEWHERE


def _touches(wire: str, plug: str) -> bool:
    pairs = ((a, b) for p in CIRCUIT.paths for a, b in zip(p.hops, p.hops[1:], strict=False))
    return any({a.part, b.part} == {wire, plug} for a, b in pairs)


def test_a_figure_that_goes_far_up_and_down_by_itself_speaks_for_what_comes_and_goes() -> None:
    wide = judge(CIRCUIT, "PUMP.in in running meter 3 V to 13 V fluctuates\n")
    first = wide.post.ranking()[0]
    assert wide.post.table.hypotheses[first].showing < 1
    narrow = judge(CIRCUIT, "PUMP.in in running meter 12.6 V to 13.3 V fluctuates\n")
    assert all(h.showing == 1 for h in narrow.post.table.hypotheses)
    assert wide.post.nothing_broken < narrow.post.nothing_broken / 2
