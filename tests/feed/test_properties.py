"""Laws that hold for any feed (issue 3, "Prove"): what must not change a verdict, what may only harden it."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.circuit.model import Feed
from amptrail.feed.verdict import Verdict, judge
from amptrail.sheet import parse, parse_fault, parse_feed

DEMOS = Path(__file__).parents[2] / "demos"
SPRAYER = (DEMOS / "sprayer.sheet").read_text(encoding="utf-8")
STARTER = (DEMOS / "starter.sheet").read_text(encoding="utf-8")
FEW = settings(max_examples=6, deadline=None, derandomize=True)

sources = st.sampled_from(["F3.out", "F4.out", "F9.out", "K4.87", "BAT.+", "KEY.15", "S1.1"])
targets = st.sampled_from(["K4.86", "PUMP.in", "K4.85", "X7.4.a", "ECM.15"])
faults = st.sampled_from(["W13 open", "W9 open", "W14 open", "W6 open"])


@st.composite
def feeds(draw: st.DrawFn) -> str:
    """A feed in words, anywhere on the sprayer."""
    fuse = draw(st.sampled_from(["", "fuse 5 A ", "fuse 10 A ", "fuse 15 A "]))
    area, length = draw(st.sampled_from([0.5, 0.75, 1.5, 2.5])), draw(st.sampled_from([1, 2, 5]))
    return f"from {draw(sources)} to {draw(targets)} {fuse}wire {area} mm2 {length} m"


@cache
def judged(sheet: str, feed: str, fault: str) -> Verdict:
    c = parse(sheet)
    return judge(c, parse_feed(c, feed), "leave", parse_fault(c, fault), nominal=True)


def rules(v: Verdict) -> set[str]:
    return {m.rule for m in v.broken}


def long_form(sheet: str, lines: str) -> Feed:
    return parse(sheet + "\n" + lines).feeds[-1]


@pytest.mark.parametrize(
    ("sheet", "wire"), [(SPRAYER, "W9"), (SPRAYER, "W13"), (SPRAYER, "W15"), (STARTER, "W5"), (STARTER, "W8")]
)
def test_a_feed_equal_to_the_healthy_wire_breaks_nothing(sheet: str, wire: str) -> None:
    """A wire end to end, as long and as thick as the one that broke."""
    size = re.search(rf"\[{wire}: \w+ ([\d.]+ mm2 [\d.]+ m)\]", sheet)
    assert size is not None
    v = judged(sheet, f"from {wire}.in to {wire}.out wire {size[1]} cut {wire}", f"{wire} open")
    assert v.verdict == "holds", rules(v)


@FEW
@given(feeds(), faults)
def test_two_halves_through_a_joint_are_the_same_feed(feed: str, fault: str) -> None:
    said = re.fullmatch(r"from (\S+) to (\S+) (?:fuse (\d+) A )?wire (\S+) mm2 (\d+) m", feed)
    assert said is not None
    a, b, fuse, area, length = said.groups()
    half = float(length) / 2
    first = "HF -- " if fuse else ""
    lines = (f"feed H\nH adds fuse HF {fuse} A\n" if fuse else "feed H\n") + (
        "H adds joint HJ 0.001 mohm\n"
        f"H adds wire HA {area} mm2 {half} m\nH adds wire HB {area} mm2 {half} m\n"
        f"H adds path {a} -- {first}HA -- HJ -- HB -- {b}\n"
    )
    c = parse(SPRAYER)
    v = judge(c, long_form(SPRAYER, lines), "leave", parse_fault(c, fault), nominal=True)
    whole = judged(SPRAYER, feed, fault)
    assert (v.verdict, rules(v)) == (whole.verdict, rules(whole))


@FEW
@given(feeds(), faults)
def test_another_phase_only_removes_holds(feed: str, fault: str) -> None:
    more = SPRAYER.replace("phase after-run 30 s", "phase idle as running 60 s\nphase after-run 30 s")
    if judged(SPRAYER, feed, fault).verdict == "refused":
        assert judged(more, feed, fault).verdict == "refused"


@FEW
@given(feeds(), faults)
def test_a_diode_creates_no_back_feed(feed: str, fault: str) -> None:
    if "back_feed" not in rules(judged(SPRAYER, feed, fault)):
        assert "back_feed" not in rules(judged(SPRAYER, feed.replace(" wire", " diode wire"), fault))


@FEW
@given(feeds(), faults)
def test_names_mean_nothing(feed: str, fault: str) -> None:
    def renamed(text: str) -> str:
        return re.sub(r"\b(W\d+|K4|ECM|F9)\b", lambda m: f"Q{m[1]}", text)

    v, w = judged(SPRAYER, feed, fault), judged(renamed(SPRAYER), renamed(feed), renamed(fault))
    assert (v.verdict, [m.rule for m in v.broken]) == (w.verdict, [m.rule for m in w.broken])


@FEW
@given(feeds(), faults)
def test_a_larger_fuse_never_mends_a_wire(feed: str, fault: str) -> None:
    if "fuse" in feed and "wire_rating" in rules(judged(SPRAYER, feed, fault)):
        larger = re.sub(r"fuse \d+ A", "fuse 30 A", feed)
        assert judged(SPRAYER, larger, fault).verdict == "refused"


@FEW
@given(
    st.sampled_from(["F_START.out", "KEY.50", "CLUTCH.out", "F_IGN.out"]),
    st.sampled_from(["K1.86", "STA.50"]),
    st.sampled_from(["W7 open", "W5 open", "W8 open"]),
)
def test_without_its_interlock_nothing_is_refused_that_held(source: str, target: str, fault: str) -> None:
    feed = f"from {source} to {target} fuse 15 A wire 2.5 mm2 2 m"
    bare = STARTER.replace("interlock CLUTCH for cranks\n", "")
    assert bare != STARTER
    if judged(STARTER, feed, fault).verdict == "holds":
        assert judged(bare, feed, fault).verdict == "holds"
