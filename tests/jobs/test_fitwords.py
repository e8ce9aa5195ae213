"""What a judged feed means for who lives with it, from rows made by hand."""

from __future__ import annotations

from typing import Any

from amptrail.jobs.feeding.fitwords import broken, drain_a, how_off, lost, place_of, stays_on
from amptrail.sheet import parse


def mark(
    rule: str, part: str, phase: str, figure: float = 1.0, limit: float = 0.0, unit: str = "V"
) -> dict[str, Any]:
    return {"rule": rule, "part": part, "phase": phase, "figure": figure, "limit": limit, "unit": unit}


ROW: dict[str, Any] = {
    "refusals": [
        mark("off_when_required", "pump-runs", "asleep", 12.2, 1.0),
        mark("off_when_required", "pump-runs", "after-run", 12.2, 1.0),
        mark("sleeps", "ECM", "asleep", 1.0, 0.0, "on"),
        mark("wire_rating", "W10", "any", 30.0, 20.0, "A"),
        mark("restores_from_asleep", "horn", "running", 3.0, 9.0),
    ],
    "would_break": [mark("dead_lock", "horn", "ignition-on", 3.0, 9.0)],
    "notes": [mark("off_when_required", "fan", "after-run", 12.0, 1.0)],
    "flags": {},
    "drained": {"battery": "BAT", "amps": 5.7},
}


def test_what_stays_on_and_what_is_lost() -> None:
    assert stays_on(ROW) == [
        "pump-runs: still on in asleep, after-run", "ECM: still on in asleep", "fan: still on in after-run",
    ]  # fmt: skip
    assert lost(ROW) == ["horn: not as it should be in running, ignition-on"]
    not_woken = {**ROW, "refusals": [mark("sleeps", "ECM", "running", 0.0, 1.0, "on")], "notes": []}
    assert stays_on(not_woken) == []


def test_each_rule_once_with_its_figure() -> None:
    assert broken(ROW) == [
        "off when required: pump-runs, 12.2 V (limit 1)", "sleeps: ECM", "wire rating: W10, 30 A (limit 20)",
        "restores from asleep: horn, 3 V (limit 9)", "dead lock: horn, 3 V (limit 9)",
    ]  # fmt: skip


def test_the_battery_is_judged_by_its_worst_night() -> None:
    assert drain_a(ROW) == 5.7
    assert drain_a({**ROW, "drained": None}) is None


def test_how_it_is_switched_off() -> None:
    assert how_off("J1", "BAT.+", [15.0, 5.0]) == "take out the 5 A fuse of J1, at BAT.+"
    assert "battery lead off first" in how_off("J1", "BAT.+", [])


def test_places() -> None:
    circuit = parse("place tail 5 min\nbattery BAT 12 V\nconnector X7 at tail\npath BAT.+ -- X7.4 -- BAT.-\n")
    assert place_of(circuit, "X7.4.b") == "tail"
    assert place_of(circuit, "BAT.+") == ""
    assert place_of(circuit, "nobody.1") == ""
