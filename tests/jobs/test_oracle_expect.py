"""The outside judge's way in: a circuit of the neutral format through `convert`, then `expect`, as JSON.

Numbers: authorities/oracle (an independent circuit simulator's readings; format and laws in its README).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

ROOT = Path(__file__).parents[2] / "authorities" / "oracle"
WITH = {"meter": "meter", "testlamp": "lamp", "probe": "loaded", "clamp": "clamp"}
STATE = {"fuses_blown": "fuses_open"}


def _load(name: str, what: str) -> Any:
    found = [p for p in ROOT.rglob(f"{what}*.json") if name in str(p)]
    return json.loads(found[0].read_text(encoding="utf-8"))


def _close(got: float | None, want: float) -> bool:
    return got is not None and abs(got - want) <= max(1e-3, 1e-3 * abs(want))


@pytest.fixture(scope="module", params=["c02", "c05", "c07"])
def judged(request: pytest.FixtureRequest) -> tuple[Any, Any, dict[str, Any]]:
    """(circuit, truth, answer of expect with every fault of the file)."""
    circuit, truth = _load(request.param, "circuit"), _load(request.param, "truth")
    made = answer(["convert", "c.json", "--to", "sheet"], Files({"c.json": json.dumps(circuit)}))
    assert made["exit"] == 0, made["problems"]
    names = [f["id"] for f in circuit["faults"]]
    files = Files({"c.sheet": made["text"], "faults": "\n".join(names)})
    argv = ["expect", "c.sheet", "--faults", "faults", "--cycles", "2", "--nominal"]
    argv += [x for i in ("meter", "lamp", "loaded", "clamp", "ohmmeter") for x in ("--with", i)]
    argv += [x for p in (*circuit["points"], *circuit["ohm_points"]) for x in ("--at", p["id"])]
    got = answer(argv, files)
    assert got["exit"] == 0, got["problems"]
    return circuit, truth, {r["fault"]: r for r in got["runs"]}


def test_back_again_is_equal_key_by_key(judged: tuple[Any, Any, dict[str, Any]]) -> None:
    circuit = judged[0]
    sheet = answer(["convert", "c.json", "--to", "sheet"], Files({"c.json": json.dumps(circuit)}))["text"]
    back = answer(["convert", "c.sheet", "--to", "oracle"], Files({"c.sheet": sheet}))
    assert json.loads(back["text"]) == circuit


def test_every_reading_and_state_of_the_oracle(judged: tuple[Any, Any, dict[str, Any]]) -> None:
    _, truth, runs = judged
    wrong: list[str] = []
    for fault, phases in truth["faults"].items():
        mine = {p["phase"]: p for p in runs[fault]["phases"]}
        for phase, want in phases.items():
            have = mine["off" if phase == "battery_disconnected" else phase]
            wrong += [f"{fault} {phase} {w}" for w in _differences(want, have)]
    assert not wrong, wrong[:10]


def _differences(want: Any, have: Any) -> list[str]:
    out = []
    for k, v in want.get("state", {}).items():
        if sorted(have["state"][STATE.get(k, k)]) != sorted(v):
            out.append(f"{k}: {have['state'][STATE.get(k, k)]} for {v}")
    table = {(r["point"], r["instrument"]): r for r in have["readings"]}
    for point, readings in want["readings"].items():
        for instrument, value in readings.items():
            if instrument in WITH and value is not None:
                got = table[point, WITH[instrument]]["value"]
                if not _close(got, value):
                    out.append(f"{point} {instrument} {got} for {value}")
            elif instrument == "ohm":
                row = table[point, "ohmmeter"]
                over = value is None
                if over != ("over_range" in row["flags"]) or not (
                    over or abs(row["value"] - value) <= 0.01 * value
                ):
                    out.append(f"{point} {row['value']} ohm for {value}")
        for instrument, changed in readings.get("disturbs", {}).items():
            got = sorted(table[point, WITH[instrument]]["disturbs"])
            if got != sorted({_item(x) for x in changed} - {""}):
                out.append(f"{point} {instrument} disturbs {got} for {changed}")
    return out


def _item(word: str) -> str:
    """The oracle's state word as the contract names it; inputs and plain signals are not listed there."""
    kind, _, name = word.partition(".")
    if kind == "sig" and name.endswith(".awake"):
        return f"awake {name.removesuffix('.awake')}"
    known = {"relay": "relay", "drv": "driver", "fuse": "fuse", "trip": "trip", "alt": "charging"}
    return f"{known[kind]} {name}" if kind in known else ""
