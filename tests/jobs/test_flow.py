"""Flow tracing on circuits whose split is known by hand."""

from __future__ import annotations

import pytest

from amptrail.jobs.solved.flow import Edge, trails

# battery (node 0 -> 1) 3 A, then two loads 1 A and 2 A from node 2 back to node 0
TWO_LOADS = [
    Edge("BAT", 0, 1, 3.0, source=True),
    Edge("F1", 1, 2, 3.0),
    Edge("LAMP", 2, 0, 1.0),
    Edge("PUMP", 0, 2, -2.0),
]


def test_shares_follow_the_currents() -> None:
    got = trails(TWO_LOADS, 2)
    assert [t.parts for t in got] == [("BAT", "F1", "PUMP", "BAT"), ("BAT", "F1", "LAMP", "BAT")]
    assert [t.share for t in got] == pytest.approx([2 / 3, 1 / 3])
    assert sum(t.amps for t in got) == pytest.approx(3.0)


def test_no_current_no_trail() -> None:
    assert trails([Edge("W1", 0, 1, 0.0)], 1) == []


def test_back_feed_is_seen_as_a_trail_through_the_wrong_part() -> None:
    # CHECKS A16: lost common ground, lamp + lamp into a 6 ohm load on the off feed: 0.400 A in series
    edges = [
        Edge("BAT", 0, 1, 0.4, source=True),
        Edge("LAMP_A", 1, 2, 0.4),
        Edge("LAMP_B", 3, 2, -0.4),
        Edge("LOAD", 3, 0, 0.4),
    ]
    (only,) = trails(edges, 2)
    assert only.parts == ("BAT", "LAMP_A", "LAMP_B", "LOAD", "BAT")
    assert only.amps == pytest.approx(0.4)
