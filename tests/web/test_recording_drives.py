"""Drives of three demo circuits lived by `cycle` in time, written as a scope would with noise, through the
command line and through the page: found is what was lived, and both say the same.

(Recordings that the program's own model had no hand in: tests/recording/test_lived.py.)
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.jobs.cycle import CycleOptions, cycle

DEMOS = Path(__file__).parents[2] / "demos"
POINTS = {
    "sprayer": ("BAT.+", "KEY.15", "K4.87", "PUMP.in", "PUMP.out", "STOP.in", "STOP.out", "BAT"),
    "starter": ("BAT.+", "KEY.15", "K1.87", "STA.M", "STA.31", "DASH.in", "DASH.out", "BAT"),
    "blower": ("BAT.+", "KEY.15", "K7.87", "BLOWER.in", "BLOWER.out", "BAT"),
}
SHORT_S = 6.0  # longer stretches in which nothing changes are cut to this
RATE = 200.0


def lived(name: str) -> tuple[str, bytes, dict[str, float], list[tuple[str, float]]]:
    """(sheet, table, relay switchings and phases by instant in the recording)."""
    sheet = (DEMOS / f"{name}.sheet").read_text(encoding="utf-8")
    points = POINTS[name]
    got = cycle(sheet, CycleOptions(order="time", at=points))
    # a scope is armed before anything happens
    instants = [i for i in got["timeline"] if i["volts"] and all(v is not None for v in i["volts"].values())]
    begin = np.array([i["t_s"] for i in instants])
    gaps = np.minimum(np.diff(begin, append=begin[-1] + SHORT_S), SHORT_S)
    at = np.concatenate(([0.0], np.cumsum(gaps)))
    t = np.arange(round(at[-1] * RATE)) / RATE
    leg = np.clip(np.searchsorted(at, t, side="right") - 1, 0, len(instants) - 1)
    rng = np.random.default_rng(3)
    columns = [t]
    for p in points:
        amps = "." not in p
        level = np.array([i["amps" if amps else "volts"][p] for i in instants], float)
        columns.append(level[leg] + (0.002 if amps else 0.05) * rng.standard_normal(t.shape))
    rows = "\n".join(",".join(f"{v:.6g}" for v in row) for row in np.column_stack(columns))
    head = "time (s)," + ",".join(f"{p} ({'A' if '.' not in p else 'V'})" for p in points)
    phases: dict[str, float] = {}
    for i, when in zip(instants, at, strict=False):
        phases.setdefault(i["phase"], float(when))
    relay = next(p for p in points if p.endswith(".87"))
    level = np.array([i["volts"][relay] for i in instants]) > 6.0
    moved = [("pull_in" if b else "drop_out", float(at[k + 1]))
             for k, (a, b) in enumerate(itertools.pairwise(level)) if a != b]  # fmt: skip
    return sheet, f"{head}\n{rows}\n".encode(), phases, moved


@pytest.mark.parametrize("name", list(POINTS))
def test_a_drive_lived_by_cycle(client: TestClient, tmp_path: Path, name: str) -> None:
    sheet, content, phases, moved = lived(name)
    (tmp_path / "drive.csv").write_bytes(content)
    argv = ["recording", str(tmp_path / "drive.csv"), "--sheet", "x.sheet"]
    got: dict[str, Any] = answer(argv, Files({"x.sheet": sheet}))
    assert got["exit"] == 0, got["problems"]
    relay = next(p for p in POINTS[name] if p.endswith(".87"))
    found = [(e["kind"], e["t_s"]) for e in got["events"]
             if e["channel"] == relay and e["kind"] in ("pull_in", "drop_out")]  # fmt: skip
    assert [k for k, _ in found] == [k for k, _ in moved]
    for (_, t), (_, w) in zip(found, moved, strict=True):
        assert t == pytest.approx(w, abs=1.01 / RATE)
    keyed = {e["kind"]: e["t_s"] for e in got["events"] if e["channel"] == "KEY.15"}
    assert keyed["key_on"] == pytest.approx(phases["ignition-on"], abs=1.01 / RATE)
    wrong = [b["words"] for b in got["against"] if not b["agrees"]]
    assert len(got["against"]) >= 12
    assert wrong == []
    failed = [t for t in got["verification"] if t["shown"] is False]
    assert failed == []
    if name == "blower":  # four speeds under one key: which it was is nothing a level tells by itself
        assert sum("no recording tells speed" in t["by"] for t in got["verification"]) >= 3
    else:
        assert sum(t["shown"] is True for t in got["verification"]) >= 3

    # the page says the same
    key = re.search(r'name="key" value="([^"]+)"', client.get("/new").text)
    assert key
    job = f"drive-{name}"
    client.post(
        "/new", data={"key": key[1], "name": job, "sheet": sheet, "complaint": "x"}, follow_redirects=False
    )
    asked = {"file": "drive.csv", "offset": 0, "size": len(content)}
    assert client.put(f"/job/{job}/recordings/d", params=asked, content=content).status_code == 200
    page = client.get(f"/job/{job}/recording/d")
    assert page.status_code == 200
    assert f"{len(got['against'])} of {len(got['against'])} levels agree" in page.text
    assert page.text.count('class="yes"') == sum(t["shown"] is True for t in got["verification"])
    told = client.get(f"/job/{job}/recording/d/told").json()["files"][0]
    assert [(e["kind"], e["t_s"]) for e in told["events"]] == [(e["kind"], e["t_s"]) for e in got["events"]]
