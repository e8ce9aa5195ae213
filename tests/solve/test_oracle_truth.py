"""The three circuits of authorities/oracle: every reading, state and disturbance against its truth file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from amptrail.circuit.model import Fault, Term
from amptrail.exchange import oracle
from amptrail.solve import CHATTER, Change, Kind, Tap, assemble, conservation, read, run

ROOT = Path(__file__).parents[2] / "authorities" / "oracle"
WITH = {"meter": "meter", "testlamp": "lamp", "probe": "loaded", "clamp": "clamp", "ohm": "ohmmeter"}
KINDS = {
    "open": Kind.OPEN, "resistance": Kind.SERIES, "stuck_on": Kind.STUCK_ON, "stuck_off": Kind.STUCK_OFF,
    "dead": Kind.DRIVER_DEAD, "always_on": Kind.DRIVER_ON, "stays_awake": Kind.STAYS_AWAKE,
    "seized": Kind.SEIZED, "module_dead": Kind.MODULE_DEAD,
}  # fmt: skip
LISTS = ("relays_energised", "modules_awake", "drivers_on", "drivers_tripped", "fuses_open", "charging")
DISTURB = {"relay": "relay", "drv": "driver", "fuse": "fuse", "charging": "charging", "trip": "trip"}


def change(f: Fault) -> Change:
    if f.mode in ("to_ground", "to_supply", "to_point"):
        other = {"to_ground": Term("", "body"), "to_supply": Term("BAT", "+")}.get(f.mode, f.to)
        return Change(Kind.BRIDGE, f.at, other, f.ohm)
    if f.mode == "has":
        return Change(Kind.PARAM, f.at, f.attribute, f.value)
    return Change(KINDS[f.mode], f.at, None, f.ohm)


def told(words: list[str]) -> list[str]:
    """The truth's disturbances in the words of the JSON contract."""
    got = []
    for word in words:
        kind, _, name = word.partition(".")
        if kind == "sig" and name.endswith(".awake"):
            got.append(f"awake {name.removesuffix('.awake')}")
        elif kind in DISTURB:
            got.append(f"{DISTURB[kind]} {name}")
    return sorted(got)


@pytest.mark.parametrize("name", [p.name for p in sorted(ROOT.iterdir()) if p.is_dir()])
def test_every_reading_is_the_truth(name: str) -> None:
    truth: dict[str, Any] = json.loads((ROOT / name / "truth.json").read_text())
    circuit = oracle.to_circuit(json.loads((ROOT / name / "circuit.json").read_text()))
    net = assemble(circuit)
    runs = run(net, [(), *(tuple(change(f) for f in n.faults) for n in circuit.faults)])
    taps, labels = [], []
    for p in circuit.points:
        for word, instrument in WITH.items():
            if {"volts": word in ("meter", "testlamp", "probe"), "amps": word == "clamp"}.get(
                p.what, word == "ohm"
            ):
                taps.append(Tap(p.a, p.b, instrument))  # type: ignore[arg-type]
                labels.append((p.name, word))
    got = read(net, runs, taps)
    phases = [p.name.replace("-", "_") for p in net.phases]
    compared = 0
    for lane, fault in enumerate(["healthy", *(n.name for n in circuit.faults)]):
        for phase, said in (truth["healthy"] if fault == "healthy" else truth["faults"][fault]).items():
            k = phases.index(phase) if phase in phases else 0
            if phase in phases:
                state = runs.state(lane, k)
                expected = {
                    x.replace("fuses_blown", "fuses_open"): sorted(v) for x, v in said["state"].items()
                }
                assert {x: list(getattr(state, x)) for x in LISTS} == expected, (fault, phase)
                assert (runs.status[lane, k] == CHATTER) == bool(said["chatter"])
            for m, (point, word) in enumerate(labels):
                reading = said["readings"].get(point, {})
                if word not in reading:
                    continue
                compared += 1
                where = (fault, phase, point, word)
                value = reading[word]
                if value is None and word == "ohm":
                    assert got.over[lane, k, m], where
                elif value is None:
                    low, high = reading["alternates_between"][word]
                    assert got.status[lane, k, m] == CHATTER, where
                    assert got.low[lane, k, m] <= high + 1e-3 and got.high[lane, k, m] >= low - 1e-3, where
                else:
                    share = 0.01 if word == "ohm" else 0.001
                    assert got.value[lane, k, m] == pytest.approx(value, rel=share, abs=1e-3), where
                    assert list(got.disturbs(lane, k, m)) == told(
                        reading.get("disturbs", {}).get(word, [])
                    ), where
    assert compared > 3000
    amps, watts = conservation(runs)
    assert amps < 1e-6 and watts < 1e-5
