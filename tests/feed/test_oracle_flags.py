"""Nominal flags against the oracle's own jumper file, and against a second computation on the twin."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from invented import circuit as invented
from twin_flags import verdict as by_twin

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.errors import ModelError
from amptrail.exchange.oracle import to_circuit
from amptrail.feed.flags import ORDER
from amptrail.feed.verdict import judge

C02 = Path(__file__).parents[2] / "authorities" / "oracle" / "c02_pump_lowside"
SEEDS = range(int(os.environ.get("AMPTRAIL_FEED_SEEDS", "2")))  # the twin takes seconds a feed


def _c02() -> tuple[str, dict[str, Any]]:
    """The shipped circuit of the oracle with jumpers, and its verdicts."""
    text = (C02 / "circuit.json").read_text(encoding="utf-8")
    return text, json.loads((C02 / "jumpers.json").read_text(encoding="utf-8"))["cases"]


def test_every_key_of_the_jumper_file() -> None:
    """Source: oracle c02_pump_lowside/jumpers.json, through a converted sheet and the command line."""
    text, cases = _c02()
    sheet = answer(["convert", "c.json", "--to", "sheet"], Files({"c.json": text}))["text"]
    got = answer(
        ["feed", "c.sheet", "--every-feed", "--nominal", "--rules", "oracle"], Files({"c.sheet": sheet})
    )
    assert len(got["feeds"]) == len(cases) >= 6
    for row in got["feeds"]:
        wanted = cases[row["text"]]["verdict"]
        assert list(row["flags"]) == list(ORDER)
        assert row["flags"] == {k: wanted[k] for k in ORDER}, row["text"]
        assert (row["verdict"] == "holds") == wanted["accept"]
        assert got["exit"] == 0


@pytest.mark.parametrize("seed", SEEDS)
def test_the_twin_finds_the_same_flags(seed: int) -> None:
    """Source: oracle SCHEMA "Jumper files", computed a second time with the twin (twin_flags.py)."""
    circuit = to_circuit(invented(seed, feeds=2))
    compared = 0
    for feed in circuit.feeds:
        got = judge(circuit, feed, oracle=True)
        assert (got.verdict == "holds") == got.flags["accept"]
        try:
            second = by_twin(circuit, feed)
        except ModelError:
            continue  # the twin's plain Newton gives up on some blown circuits
        compared += 1
        assert bool(got.flags["chatter"]) == second.pop("chatter"), feed.name
        if got.flags["chatter"]:
            continue  # nothing settles: there is nothing to compare
        amps = second.pop("sleep_current_a")
        assert got.flags["sleep_current_a"] == {
            k: pytest.approx(v, rel=1e-4, abs=1e-6) for k, v in amps.items()
        }
        for key, value in second.items():
            mine = got.flags[key]
            assert (set(mine) if isinstance(value, set) else mine) == value, (feed.name, key)
    assert compared


@pytest.mark.parametrize(
    "cut", [["X2/2"], ["K_PUMP.no"], ["S15.0"], ["G_REAR.0"], ["X1/17", "W9"], ["F_PUMP"]]
)
def test_whatever_a_jumper_cuts_goes_through_a_sheet(cut: list[str]) -> None:
    """Cavities, contacts and legs are cut like wires; the format comes back as it was."""
    d = json.loads((C02 / "circuit.json").read_text(encoding="utf-8"))
    d["jumpers"] = [{**d["jumpers"][0], "cut": cut}]
    sheet = answer(["convert", "c", "--to", "sheet"], Files({"c": json.dumps(d)}))["text"]
    back = answer(["convert", "s", "--to", "oracle"], Files({"s": sheet}))
    assert json.loads(back["text"])["jumpers"] == d["jumpers"]
    got = answer(["feed", "s", "--every-feed", "--nominal", "--rules", "oracle"], Files({"s": sheet}))
    assert got["feeds"][0]["flags"]["restores_from_asleep"] is False  # each of these is needed by the pump
