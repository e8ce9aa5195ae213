"""A lamp in the place of a blown fuse: it tells a fuse that is merely open from a short behind it."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.model import Circuit, Term
from amptrail.jobs.judging.bypasses import in_fuse_place
from amptrail.jobs.judging.groups import merge
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.solved import solving
from amptrail.sheet import parse, parse_fault

FIRST = Path(__file__).parents[2] / "demos" / "first" / "lamp.sheet"
DEAD = "battery 12.5 V\nlit in ignition-on does not work\nF1.out in ignition-on meter 0 V\n"


@pytest.fixture(scope="module")
def lamp() -> Circuit:
    return parse(FIRST.read_text())


def test_what_the_lamp_lets_through(lamp: Circuit) -> None:
    # a 21 W lamp in series with 0.1 ohm to ground: all volts are across the lamp, under 0.3 V remain
    # (1.8 A hot x 0.1 ohm = 0.18 V); with nothing broken the 55 W lamp behind it takes its share
    (b,) = in_fuse_place(lamp, next(p for p in lamp.parts if p.name == "F1"))
    short, whole = parse_fault(lamp, "W2.out to ground 0.1 ohm"), parse_fault(lamp, "F1 open")
    got = solving.solved(lamp, [short, whole], b.conditions, keep=False)
    assert b.meter_at is not None
    volts = got.volts(b.meter_at, Term("BAT", "-"), 0)
    assert 0.1 < volts[0] < 0.3 < 1.0 < volts[1] < 4.0


def test_an_open_fuse_and_a_short_behind_it_are_two_lines(lamp: Circuit) -> None:
    j = judge(lamp, DEAD, "off")
    keys = [[j.suspects[h].key for h in g.members] for g in merge(j)]
    mine = next(k for k in keys if "F1:open" in k)
    assert not any("to_ground" in x or "blown-by-short" in x for x in mine)
    assert any("W2.out" in x for k in keys if k is not mine for x in k)


def test_it_is_offered_where_a_fuse_leads(lamp: Circuit) -> None:
    got = next_tests(FIRST.read_text(), DEAD)
    tests = [t for v in got["visits"] for t in v["tests"]]
    mine = next(t for t in tests if "feed from F1.in to F1.out lamp 21 W" in t["line"])
    assert mine["action"] == "bypass" and mine["line"].startswith("with F1 pulled, feed")
    left = [frozenset(x["text"].split()[0] for x in o["leaves"]) for o in mine["outcomes"]]
    assert len(set(left)) > 1


def test_none_towards_restraint() -> None:
    text = FIRST.read_text()
    guarded = parse(text.rstrip("\n") + "\nrefuse WORK restraint\n")
    assert list(in_fuse_place(guarded, next(p for p in guarded.parts if p.name == "F1"))) == []
