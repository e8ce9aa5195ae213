"""Order `time` twice: the twin's walk_timed beside the cycle package, which rests on the kernel."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest
from benchmarks import generator
from benchmarks.twin_misses import NEAR_V, Faults

from amptrail import twin
from amptrail.circuit.model import Circuit, Fault, Term
from amptrail.cycle import run_cycle
from amptrail.cycle.pace import opens_after_s
from amptrail.cycle.story import starts
from amptrail.errors import ModelError
from amptrail.faults import catalogue, changes
from amptrail.sheet import parse
from amptrail.solve import assemble
from amptrail.twin.pace import Armature, opens_after

ROOT = Path(__file__).parents[2]
NAMES = [*(p.name for p in sorted((ROOT / "demos").glob("*.sheet"))), "everything", "30/1", "60/2"]


@cache
def circuit_of(name: str) -> Circuit:
    if "/" in name:
        size, seed = name.split("/")
        return generator.generate(int(size), int(seed))
    path = Path(__file__).with_name("everything.sheet") if name == "everything" else ROOT / "demos" / name
    return parse(path.read_text(encoding="utf-8"), path.stem)


def beside(circuit: Circuit, start: str, faults: Faults = ()) -> int:
    """Compare every instant; -1 when the kernel's story buzzes (the twin lives through no loop for ever)."""
    net = assemble(circuit)
    lane = tuple(x for f in faults for x in changes(net, f))
    theirs = [i for i in run_cycle(net, lane, start, 1, "time").instants if not i.before]
    if any(i.status != "settled" for i in theirs):
        return -1
    ours = list(twin.walk_timed(circuit, faults, start=start, cycles=1))
    assert [x.t_s for x in ours] == pytest.approx([i.t_s for i in theirs], abs=1e-7), (start, faults)
    for x, i in zip(ours, theirs, strict=True):
        where = (start, faults, x.t_s, x.phase.name)
        assert x.phase.name == i.phase, where
        for word, names in x.words.items():
            assert names == sorted(getattr(i.state, word)), where
        for t in net.wires.names:
            assert x.volts(t) == pytest.approx(float(i.volts[net.node(t)]), abs=1000 * NEAR_V), where
    return len(ours)


@pytest.mark.parametrize("name", NAMES)
def test_every_start(name: str) -> None:
    circuit = circuit_of(name)
    for start in starts(circuit):
        assert beside(circuit, start) > 10


@pytest.mark.parametrize("name", NAMES)
def test_with_faults(name: str) -> None:
    circuit = circuit_of(name)
    rng = Random(name)
    every = [h.faults for h in catalogue(circuit) if h.faults]
    told = [beside(circuit, rng.choice(starts(circuit)), f) for f in rng.sample(every, 6)]
    assert max(told) > 10


def test_a_fuse_warms_until_it_opens() -> None:
    """A hard short opens at once, an overload after the time of its gate."""
    circuit = circuit_of("everything")
    hard = Fault("to_ground", Term("X1", "1.b"), ohm=0.02)
    opened = [x for x in twin.walk_timed(circuit, (hard,)) if x.words["fuses_open"]]
    assert opened and opened[0].words["fuses_open"] == ["F1"]
    assert beside(circuit, "asleep", (hard,)) > 0
    soft = Fault("to_ground", Term("X1", "1.b"), ohm=0.35)
    assert beside(circuit, "asleep", (soft,)) > 0
    late = [x for x in twin.walk_timed(circuit, (soft,)) if x.words["fuses_open"]]
    assert late and late[0].t_s > opened[0].t_s + 0.1


def test_a_story_that_never_rests_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("amptrail.twin.timed.MOST_EVENTS", 100)
    sensors = circuit_of("sensors.sheet")
    with pytest.raises(ModelError):
        list(twin.walk_timed(sensors, (Fault("open", Term("G1", "2")),)))


@pytest.mark.parametrize("form", ["blade", "maxi"])
def test_gates_of_iso_8820_3(form: str) -> None:
    """Both readings of the same gates agree; never below 1.1 x; quicker with more current."""
    times = [1.0, 1.05, 1.12, 1.35, 1.5, 1.6, 2.0, 3.0, 3.5, 5.0, 6.0, 9.0, 30.0]
    ours = [opens_after(x, form) for x in times]
    assert ours == pytest.approx([opens_after_s(10.0, 10.0 * x, form) for x in times], rel=1e-12)
    assert all(b <= a for a, b in pairwise(ours[2:]))
    assert math.isinf(opens_after(1.05, "blade"))


def test_release_times_of_a_relay() -> None:
    """FACTS 3, the electrical part: about 1 ms with 680 ohm, 4-10 ms with a plain diode (85 ohm, 12 V)."""
    none, resistor, diode = (
        Armature(0.0054, 0.0, quench, 85.0, 12.6).freed_after(12.6, 0.0, 3.0)
        for quench in ("none", "resistor", "diode")
    )
    assert none == 0.0
    assert resistor == pytest.approx(0.001, abs=0.0006) and diode == pytest.approx(0.0083, abs=0.001)
    assert Armature(0.0054, 0.004, "none", 85.0, 12.6).made_after(12.6, 7.0) == pytest.approx(0.0054)
