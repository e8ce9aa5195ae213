"""Healthy vehicles end every phase alike in both orders, from every start: same states, same volts."""

from __future__ import annotations

import numpy as np
import pytest
from test_settle_order import DEMOS, ORACLE, circuit, network

from amptrail.cycle import races_between, run_cycle, starts


@pytest.mark.parametrize("name", [*DEMOS, *ORACLE])
def test_no_healthy_vehicle_races(name: str) -> None:
    net = network(name)
    for start in starts(circuit(name)):
        settle, time = run_cycle(net, (), start), run_cycle(net, (), start, order="time")
        assert races_between(settle, time) == (), start
        assert (settle.reason, settle.awake) == (time.reason, time.awake)
        for a, b in zip(settle.ends(), time.ends(), strict=True):
            assert np.allclose(a.volts, b.volts, rtol=1e-6, atol=1e-6), (start, a.phase)
            assert a.t_s == b.t_s
