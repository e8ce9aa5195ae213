"""The order in which a sheet names its parts changes no settled result, unless a race is reported."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import PAIR, PARASITE, ring, seal_in
from test_settle_order import DEMOS, ORACLE, circuit

from amptrail.circuit.model import Circuit
from amptrail.cycle import Timeline, run_cycle
from amptrail.faults import changes
from amptrail.sheet import parse
from amptrail.solve import assemble

SEALED = seal_in("closed in ignition-on", "closed in ignition-on, running")
BENCH = (PAIR, PARASITE, ring(2), ring(3), ring(4), SEALED)


@cache
def cases() -> tuple[tuple[Circuit, tuple[object, ...]], ...]:
    """(circuit, faults) of every demo and bench, healthy and with the sheet's own faults."""
    circuits = [circuit(n) for n in (*DEMOS, *ORACLE)] + [parse(t) for t in BENCH]
    return tuple((c, f.faults if f else ()) for c in circuits for f in (None, *c.faults))


def lived(c: Circuit, faults: tuple[object, ...], order: str) -> Timeline:
    net = assemble(c)
    present = [x for f in faults for x in changes(net, f)]  # type: ignore[arg-type]
    return run_cycle(net, present, order=order)  # type: ignore[arg-type]


def same(a: Timeline, b: Timeline) -> None:
    for one, two in zip(a.ends(), b.ends(), strict=True):
        assert (one.phase, one.status, one.chattering) == (two.phase, two.status, two.chattering)
        if one.status != "chatter":  # which moment of a loop is kept is arbitrary
            assert one.state == two.state
        if one.status == "settled":
            for k, n in a.network.node_index.items():
                assert one.volts[n] == pytest.approx(two.volts[b.network.node_index[k]], abs=1e-6)
    assert (a.reason, a.awake, a.self_holding) == (b.reason, b.awake, b.self_holding)


def test_a_loop_that_never_rests_is_not_said_to_hold_itself() -> None:
    """Four relays in a ring are left at one moment or another, by the order their sheet names them in."""
    c = parse(ring(4))
    for order in ((0, 1, 2, 3, 4, 5), (0, 1, 2, 3, 5, 4), (5, 0, 3, 1, 4, 2)):
        mixed = replace(c, parts=tuple(c.parts[i] for i in order), order=())
        got = lived(mixed, (), "time")
        assert (got.reason, got.self_holding) == ("chatter", ())


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_order_settle(data: st.DataObject) -> None:
    c, faults = data.draw(st.sampled_from(cases()))
    mixed = replace(c, parts=tuple(data.draw(st.permutations(c.parts))), order=())
    a, b = lived(c, faults, "settle"), lived(mixed, faults, "settle")
    if a.races or b.races:  # said by one of them: then the results may differ
        return
    same(a, b)


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_order_time(data: st.DataObject) -> None:
    """Order time has no order of parts at all: everything of one moment comes from one solution."""
    c, faults = data.draw(st.sampled_from(cases()))
    mixed = replace(c, parts=tuple(data.draw(st.permutations(c.parts))), order=())
    a, b = lived(c, faults, "time"), lived(mixed, faults, "time")
    same(a, b)
    assert [i.t_s for i in a.instants] == pytest.approx([i.t_s for i in b.instants], abs=1e-9)
