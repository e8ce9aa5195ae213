"""Order settle: states bit for bit what solve.run gives at phase ends, volts and amps to 1e-9.

`run` starts a solve where the healthy vehicle has been before, `run_cycle` where it was last: the same answer
but for the last digits.
"""

from __future__ import annotations

import json
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from amptrail.circuit.model import Circuit, Term
from amptrail.cycle import corner, named_starts, run_cycle, starts
from amptrail.errors import ModelError
from amptrail.exchange import oracle
from amptrail.faults import changes
from amptrail.jobs.solved.feeds import fitted
from amptrail.sheet import parse
from amptrail.solve import Change, Kind, Network, Tap, assemble, run
from amptrail.solve.runs import STATUS

ROOT = Path(__file__).parents[2]
DEMOS = sorted(p.stem for p in (ROOT / "demos").glob("*.sheet"))
ORACLE = sorted(p.name for p in (ROOT / "authorities" / "oracle").iterdir() if p.is_dir())


@cache
def circuit(name: str) -> Circuit:
    if name in DEMOS:
        return parse((ROOT / "demos" / f"{name}.sheet").read_text(encoding="utf-8"))
    text = (ROOT / "authorities" / "oracle" / name / "circuit.json").read_text(encoding="utf-8")
    return oracle.to_circuit(json.loads(text))


def network(name: str) -> Network:
    return assemble(circuit(name))


@pytest.mark.parametrize("name", [*DEMOS, *ORACLE])
def test_phase_ends_are_those_of_run(name: str) -> None:
    net = network(name)
    lanes = [(), *(tuple(c for f in n.faults for c in changes(net, f)) for n in circuit(name).faults)]
    waking = next(s for s in starts(circuit(name)) if s.startswith("awake:"))
    for start in ("asleep", waking):
        runs = run(net, lanes, start, 2, every_pass=True)
        for n, lane in enumerate(lanes):
            ends = run_cycle(net, lane, start, 2).ends()
            assert len(ends) == len(net.phases)
            for k, end in enumerate(ends):
                where = (start, n, end.phase)
                assert end.status == STATUS[int(runs.status[n, k])], where
                assert np.array_equal(end.bits, runs.snapshot.state[n, k]), where
                if end.status != "not_converged":
                    assert np.abs(end.volts - runs.volts[n, k]).max() < 1e-9, where
                    assert np.abs(end.amps - runs.amps[n, k]).max() < 1e-9, where
                if end.status == "chatter":
                    assert end.chattering == runs.chattering(n, k), where


@pytest.mark.parametrize("name", [*DEMOS, *ORACLE])
def test_every_start_ends_in_order_of_time(name: str) -> None:
    net = network(name)
    for start in starts(circuit(name)):
        got = run_cycle(net, (), start)
        times = [i.t_s for i in got.instants]
        assert times == sorted(times)
        ends = [i.t_s for i in got.ends()]
        lasted = [b - a for a, b in pairwise(ends)]
        assert lasted == pytest.approx(list(net.static.duration[1 : len(net.phases)]))
        assert got.reason == "settled" and got.asleep, (start, got.awake)
        assert got.self_holding == () and got.fuses_open == ()


def test_the_named_starts_of_a_full_sheet() -> None:
    assert named_starts(circuit("sprayer")) == (
        "restart-in-after-run", "aborted-crank", "stall", "key-off-turning", "battery-reconnected",
        "unlock-without-start",
    )  # fmt: skip
    assert "aborted-crank" not in named_starts(circuit("camper"))  # its sheet has no cranking


@pytest.mark.parametrize("start", ["asleeep", "awake:nowhere", "aborted-crank", "awake:", ""])
def test_a_start_that_is_none_is_said(start: str) -> None:
    with pytest.raises(ModelError) as e:
        run_cycle(network("camper"), (), start)
    assert e.value.problems[0].expected


def test_battery_off_forgets_and_on_again_works() -> None:
    got = run_cycle(network("sprayer"), (), "battery-reconnected")
    off = [i for i in got.instants if abs(i.volt(Term("BAT", "+"))) < 0.1]
    assert off and all(i.state.modules_awake == () for i in off)
    assert "ECM" in got.ends()[0].state.modules_awake


def test_a_corner_is_a_list_of_factors() -> None:
    net = network("sprayer")
    weak = corner(net, [("BAT", "emf_v", 0.5), ("K4", "coil_ohm", 1.25)])
    assert weak == (Change(Kind.PARAM, "BAT", "emf_v", 6.3), Change(Kind.PARAM, "K4", "coil_ohm", 106.25))
    assert "K4" not in run_cycle(net, weak).ends()[0].state.relays_energised
    with pytest.raises(ModelError) as e:
        corner(net, [("K4", "colour", 2.0)])
    assert "coil_ohm" in e.value.problems[0].expected


def test_an_instrument_left_connected_changes_the_cycle() -> None:
    net = network("camper")
    lamp = Tap(Term("BCM", "dr"), Term("", "body"), "lamp")  # a lamp to ground on a door input wakes it
    meter = Tap(Term("BCM", "dr"), Term("", "body"), "meter")
    assert "BCM" in run_cycle(net, leave=[lamp]).instants[0].state.modules_awake
    assert run_cycle(net, leave=[meter]).instants[0].state.modules_awake == ()
    with pytest.raises(ModelError):
        run_cycle(net, leave=[Tap(Term("BCM", "dr"), None, "ohmmeter")])


def test_state_is_carried_by_name_into_a_network_with_more_in_it() -> None:
    more = assemble(fitted(circuit("sprayer"), "from F9.out to X7.4.a fuse 15 A wire 2.5 mm2 2 m"))
    got = run_cycle(more, (), "awake:running", was=network("sprayer"))
    first = next(i for i in got.instants if not i.before)
    was = [i for i in got.instants if i.before][-1]
    assert was.state == first.state and not first.changes
