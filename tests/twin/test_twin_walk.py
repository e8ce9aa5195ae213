"""Every settled instant of a drive cycle, beside the cycle package (which rests on the kernel)."""

from __future__ import annotations

import time
from functools import cache
from pathlib import Path

import pytest
from benchmarks.twin_misses import NEAR_V

from amptrail import twin
from amptrail.circuit.model import Circuit, Fault, Term, key
from amptrail.circuit.phases import drive_cycle, seconds
from amptrail.cycle import run_cycle
from amptrail.cycle.story import NAMED, starts, story
from amptrail.errors import ModelError
from amptrail.faults import changes
from amptrail.jobs.solved.feeds import fitted
from amptrail.sheet import parse, parse_fault
from amptrail.solve import assemble

ROOT = Path(__file__).parents[2]
DEMOS = sorted((ROOT / "demos").glob("*.sheet"))
SHORT = Fault("to_ground", Term("X1", "1.b"), ohm=0.05)


@cache
def sheet(name: str) -> Circuit:
    path = Path(__file__).with_name("everything.sheet") if name == "everything" else ROOT / "demos" / name
    return parse(path.read_text(encoding="utf-8"), path.stem)


NAMES = [*(p.name for p in DEMOS), "everything"]


def beside(
    circuit: Circuit, start: str, faults: tuple[Fault, ...] = (), healthy: Circuit | None = None
) -> int:
    """Compare instant for instant; fuses that open at the same moment are instants of the twin only."""
    net = assemble(circuit)
    lane = tuple(x for f in faults for x in changes(net, f))
    was = None if healthy is None else assemble(healthy)
    theirs = [i for i in run_cycle(net, lane, start, cycles=1, was=was).instants if not i.before]
    every = twin.walk(circuit, faults, start=start, cycles=1, healthy=healthy)
    ours = [x for x in every if x.opens is None or x.event == "end"]
    assert [x.t_s for x in ours] == pytest.approx([i.t_s for i in theirs], abs=1e-9)
    assert [x.phase.name for x in ours] == [i.phase for i in theirs]
    for x, i in zip(ours, theirs, strict=True):
        assert x.status == i.status, (x.t_s, x.phase.name)
        if x.status == "chatter":
            continue
        for word, names in x.words.items():
            assert names == sorted(getattr(i.state, word)), (x.t_s, word)
        for name, volts in x.all_volts.items():
            part, _, terminal = name.partition(".")
            node = (
                net.node_index.get((key(part), key(terminal)))
                if terminal
                else net.node_index.get((key(part), ""), net.node_index.get(("", key(part))))
            )
            assert node is not None, name
            assert volts == pytest.approx(float(i.volts[node]), abs=NEAR_V), (x.t_s, name)
    return len(ours)


@pytest.mark.parametrize("name", NAMES)
def test_every_instant_of_every_start(name: str) -> None:
    circuit = sheet(name)
    for start in starts(circuit):
        assert beside(circuit, start) > len(drive_cycle(circuit))


def test_fuses_open_on_the_way() -> None:
    circuit = sheet("everything")
    beside(circuit, "asleep", (SHORT,))
    opening = [x for x in twin.walk(circuit, (SHORT,)) if x.opens]
    assert opening and opening[0].opens == "F1" and opening[0].event == "phase"
    assert opening[0].words["fuses_open"] == []


@pytest.mark.parametrize("name", NAMES)
def test_starts_are_those_of_the_cycle(name: str) -> None:
    """Two lists of what a named start means, written apart, say the same."""
    circuit = sheet(name)
    net = assemble(circuit)
    for start in starts(circuit):
        before, after = twin.plan(circuit, start, 1)
        lived = (*before, *after)
        legs = [(x.phase.name, seconds(x.phase) if x.seconds is None else x.seconds) for x in lived]
        assert legs == [(net.phases[x.phase].name, x.seconds) for x in story(net, start, 1)], start
    for start in set(NAMED) - set(starts(circuit)):
        with pytest.raises(ModelError):
            twin.plan(circuit, start)


def test_a_frozen_state_is_solved_again() -> None:
    """resolve() at every instant's own state gives its own volts and amps; another state does not."""
    circuit = sheet("everything")
    m = twin.machine(circuit)
    for x in twin.walk(circuit):
        got = twin.resolve(m, x.phase.name, x.words)
        assert got.volts == pytest.approx(x.all_volts, abs=1e-10)
        assert got.amps == pytest.approx(x.all_amps, abs=1e-7)
    other = {**x.words, "relays_energised": ["K1"]}
    assert twin.resolve(m, "running", other).volts["K1.87"] > 10
    assert abs(x.all_volts["K1.87"]) < 1


def test_a_feed_is_fitted_on_a_healthy_vehicle() -> None:
    circuit = sheet("everything")
    fed = fitted(circuit, "from BAT.+ to M1.in fuse 15 A wire 2.5 mm2 3 m")
    moments = twin.run(fed, (Fault("open", Term("W3", "")),), "awake:running", 1, healthy=circuit)
    assert all(m.volts(Term("M1", "in")) > 8 for m in moments)
    unfed = twin.run(circuit, (Fault("open", Term("W3", "")),), "awake:running", 1)
    assert abs(unfed[1].volts(Term("M1", "in"))) < 0.1


FEEDS = (
    ("everything", "W3 open", "from BAT.+ to M1.in fuse 15 A wire 2.5 mm2 3 m"),
    (
        "everything",
        "K1.87 open",
        "from BAT.+ to M1.in through relay switched by X1.3 to body fuse 15 A wire 2.5 mm2 3 m",
    ),
    ("sprayer.sheet", "W9 open", "from BAT.+ to PUMP.in fuse 15 A wire 2.5 mm2 3 m"),
    ("sprayer.sheet", "K4.87 open", "from F9.out to PUMP.in fuse 15 A wire 2.5 mm2 3 m diode cut W9"),
)


@pytest.mark.parametrize(("name", "against", "feed"), FEEDS)
def test_fitted_in_every_waking_phase(name: str, against: str, feed: str) -> None:
    """What was energised, awake and counting stays so when the feed is fitted; instant for instant."""
    circuit = sheet(name)
    faults = parse_fault(circuit, against)
    fed = fitted(circuit, feed)
    for start in starts(circuit):
        assert beside(fed, start, faults, circuit) > 2


def test_held_switches_and_connected_instruments_stay() -> None:
    circuit = sheet("everything")
    held = twin.run(circuit, held=(twin.Held("KEY", "start"), twin.Held("S1", "open")))
    assert all("STA" in m.words["relays_energised"] for m in held)
    assert all("K2" not in m.words["relays_energised"] for m in held)
    as_running = twin.run(circuit, held=(twin.Held("KEY", "running"), twin.Held("S1", "running")))
    assert "K2" in as_running[-1].words["relays_energised"]
    m = twin.machine(circuit)
    lamp = twin.burden(m, "lamp", Term("BAT", "+"), Term("M1", "in"))
    *_, last = twin.walk(circuit, leave=lamp)
    *_, bare = twin.walk(circuit)
    assert last.volts(Term("M1", "in")) > bare.volts(Term("M1", "in")) + 0.1


def test_what_cannot_be_is_refused() -> None:
    circuit = sheet("everything")
    m = twin.machine(circuit)
    for wrong in (
        lambda: twin.resolve(m, "lunch", {}),
        lambda: twin.resolve(m, "running", {"relays_energised": ["K9"]}),
        lambda: twin.machine(circuit, (Fault("open", Term("K9", "")),)),
        lambda: twin.machine(circuit, (Fault("to_ground", Term("K9", "30")),)),
        lambda: twin.machine(circuit, (Fault("resistance", Term("W1", ""), ohm=-1.0),)),
        lambda: twin.machine(circuit, held=(twin.Held("KEY", "sideways"),)),
        lambda: twin.machine(circuit, held=(twin.Held("K1", "open"),)),
        lambda: twin.plan(circuit, "awake:lunch"),
        lambda: next(twin.walk(circuit)).volts(Term("K9", "30")),
    ):
        with pytest.raises(ModelError):
            wrong()


def test_it_is_quick_enough_for_a_checker() -> None:
    """A step under 10 ms and a phase under 100 ms at 40 parts (best of five, as others work here too)."""
    circuit = sheet("sensors.sheet")
    assert len(circuit.parts) == 40
    *_, x = twin.walk(circuit)
    step, walked = [], []
    for _ in range(5):
        m = twin.machine(circuit)
        at = time.process_time()
        twin.resolve(m, "running", x.words)
        step.append(time.process_time() - at)
        at = time.process_time()
        list(twin.walk(circuit))
        walked.append(time.process_time() - at)
    assert min(step) < 0.010
    assert min(walked) / len(drive_cycle(circuit)) < 0.100
