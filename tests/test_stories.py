"""Public fault stories: told readings only, the true cause among the first three in most of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.story_ranks import Story, is_cause, stories, story_rank

from amptrail.circuit.checks import check
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import parse, parse_fault, parse_readings

STORIES = stories()


@pytest.mark.parametrize("story", STORIES, ids=lambda s: s.name)
def test_a_story_is_a_sound_circuit_with_readable_evidence(story: Story) -> None:
    circuit = parse(story.sheet)
    assert [p for p in check(circuit) if p.severity == "error"] == []
    parse_readings(circuit, story.readings)
    for truth in story.truths:
        assert len(parse_fault(circuit, truth)) == 1


def test_there_are_at_least_eight_and_each_names_its_source() -> None:
    assert len(STORIES) >= 8
    assert all(s.source and s.truths for s in STORIES)


def test_a_cause_is_known_by_its_place_and_not_by_its_severity() -> None:
    story = next(s for s in STORIES if s.name == "A03")
    circuit = parse(story.sheet)
    assert is_cause(circuit, "CLAMP_N open", ("CLAMP_N resistance 0.6 ohm",))
    assert not is_cause(circuit, "CLAMP_P open", ("CLAMP_N resistance 0.6 ohm",))
    assert not is_cause(circuit, "CLAMP_N open and CLAMP_P open", ("CLAMP_N resistance 0.6 ohm",))


def test_a_short_is_known_by_its_metal_however_spelled() -> None:
    demo = (Path(__file__).parent.parent / "demos" / "sensors.sheet").read_text(encoding="utf-8")
    circuit, truth = parse(demo), ("BOOST.1 to ground 0.5 ohm",)
    assert is_cause(circuit, "X12.1.b to ground 3 ohm", truth)
    assert not is_cause(circuit, "X12.1.a to ground 3 ohm", truth)
    assert not is_cause(circuit, "X12.1.b to supply 3 ohm", truth)


def test_the_true_cause_is_in_the_first_three_of_most_stories() -> None:
    ranks = {s.name: story_rank(s) for s in STORIES}
    first = [name for name, r in ranks.items() if r is not None and r <= 3]
    assert len(first) >= 9, ranks


def test_the_ohm_reading_that_cannot_be_right_is_doubted() -> None:
    """CHECKS (project brief): a few hundred ohm cannot stand beside a dip of 5 V and hot wires."""
    story = next(s for s in STORIES if s.name == "A13")
    ohms = next(i for i, x in enumerate(story.readings.splitlines(), 1) if "ohmmeter" in x)
    doubt = suspects(story.sheet, story.readings)["doubtful_reading"]
    assert doubt["line"] == ohms and doubt["probability"] > 0.9


def test_the_module_that_takes_most_is_not_blamed_for_what_another_keeps_awake() -> None:
    """A01: the gearbox controller takes half of the current at rest, and is only kept awake."""
    story = next(s for s in STORIES if s.name == "A01")
    got = suspects(story.sheet, story.readings)
    blamed = {t: s["probability"] for s in got["suspects"] for t in (s["text"], *s["equivalent"])}
    assert max(p for t, p in blamed.items() if "KEYLESS" in t) > 0.1
    assert all(p < 0.01 for t, p in blamed.items() if t.startswith(("TCU", "ECM", "LOCK")))
