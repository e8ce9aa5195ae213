"""Feeds of the oracle's jumper file lived through: who sleeps afterwards, and on how much current.

Source: authorities/oracle/c02_pump_lowside/jumpers.json (an independent circuit simulator's verdicts).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from amptrail.circuit.model import Feed
from amptrail.cycle import Timeline, run_cycle
from amptrail.exchange import oracle
from amptrail.faults import changes
from amptrail.jobs.solved.feeds import overlay
from amptrail.solve import assemble

C02 = Path(__file__).parents[2] / "authorities" / "oracle" / "c02_pump_lowside"
CIRCUIT = oracle.to_circuit(json.loads((C02 / "circuit.json").read_text(encoding="utf-8")))
CASES: dict[str, Any] = json.loads((C02 / "jumpers.json").read_text(encoding="utf-8"))["cases"]


def lived(feed: Feed, start: str, order: str) -> Timeline:
    net = assemble(overlay(CIRCUIT, feed))
    present = [c for f in feed.against for c in changes(net, f)]
    return run_cycle(net, present, start, 1, order, rest_s=3600.0, was=assemble(CIRCUIT))  # type: ignore[arg-type]


@pytest.mark.parametrize("order", ["settle", "time"])
@pytest.mark.parametrize("feed", CIRCUIT.feeds, ids=lambda f: f.name)
def test_sleep_after_a_feed(feed: Feed, order: str) -> None:
    said = CASES[feed.name]["verdict"]
    got = lived(feed, "asleep", order)
    assert got.sleep_a == pytest.approx(said["sleep_current_a"]["asleep_start"], rel=1e-4, abs=1e-6)
    assert got.asleep == said["sleeps_from_asleep"]
    assert got.fuses_open == tuple(said["fuses_blown"]) and got.chatter == tuple(said["chatter"])
    for phase, sleeps in said["sleeps_after_awake_fit"].items():
        got = lived(feed, f"awake:{phase}", order)
        assert got.asleep == sleeps, phase
        assert got.sleep_a == pytest.approx(said["sleep_current_a"][f"awake:{phase}"], rel=1e-4, abs=1e-6)
        assert bool(got.self_holding) == bool(said["self_hold"].get(phase))
    tripped = {d for i in lived(feed, "asleep", order).instants for d in i.state.drivers_tripped}
    assert tripped == set(said["drivers_tripped"])
