"""An outcome names who gives it, never whom only a slip of the hand would bring there."""

from __future__ import annotations

from pathlib import Path

from amptrail.jobs.judging.nexttest import next_tests

DEMOS = Path(__file__).parents[2] / "demos"


def test_a_missing_fuse_leaves_no_bad_joint() -> None:
    text = (DEMOS / "trailer.sheet").read_text(encoding="utf-8")
    told = next_tests(text, "")
    looks = [t for v in told["visits"] for t in v["tests"] if t["action"] == "look"]
    every = [(o["words"], x["text"]) for t in looks for o in t["outcomes"] for x in o["leaves"]]
    assert all("missing" in text for words, text in every if words == "missing")
    assert any(o["leaves"] for v in told["visits"] for t in v["tests"] for o in t["outcomes"])
